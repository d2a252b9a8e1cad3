"""Which drawdowns would tell most, before and after painting."""
