"""What every room may use: files read, copied and written whole; lists, colours, cautions in words.

No paint lives here.
"""
