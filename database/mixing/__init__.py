"""The mathematics of mixes: arrays in, answers out.

No store, no file and no database may be opened here.
"""
