"""Figures; the only room that imports matplotlib.

Nothing is calculated here that a command or page would show too.
"""
