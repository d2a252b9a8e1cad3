"""What every room may use: files written whole, text read, lists said, colour words, cautions.

No paint lives here.
"""
