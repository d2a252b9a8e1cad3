"""Published databases: made, checked, loaded, compared, adopted.

What is in use in the studio is not decided here.
"""
