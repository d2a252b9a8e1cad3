"""The demonstration, on invented paints. No other room may use it, commands aside."""
