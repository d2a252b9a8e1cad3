"""The tables of a release: what each holds, how it is written and read.

Nothing is judged here.
"""
