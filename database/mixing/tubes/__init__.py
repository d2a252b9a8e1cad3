"""Which tubes: the fewest that serve, stand-ins for one that is gone, partners that grey it.

As in all of mixing, arrays come in and answers go out; no store and no file may be opened here.
"""
