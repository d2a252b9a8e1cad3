"""Steps between two colours: where they lie, and how each heap grows out of the last.

As in all of mixing, arrays come in and answers go out; no store and no file may be opened here.
"""
