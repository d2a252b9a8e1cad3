"""Which tubes, with what a studio holds: sets to keep, stand-ins, clean neutrals, and costs.

As in all of the easel, a request comes in and an answer goes out; no printed word may name a
command, an option or a field.
"""
