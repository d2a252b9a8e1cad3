"""Cards from planning to reading: planned, printed, filled in, read, scanned, sat with.

No fit and no mix is made here.
"""
