"""Drawdown cards: layouts, what was weighed, mixed and drawn down."""
