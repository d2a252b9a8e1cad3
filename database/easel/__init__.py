"""Mixing with what a studio holds: the one service that command line, page and paper all call.

No word of a face stands here.
"""
