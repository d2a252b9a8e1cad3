"""Measured data and published tables from outside the project, and how the tests read them."""
