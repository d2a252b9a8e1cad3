"""Readings in and out. Nothing is corrected here; only what no surface can be is refused."""
