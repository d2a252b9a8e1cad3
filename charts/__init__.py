"""Drawdown-card layouts, one TOML a layout: data, no code."""
