"""Spectrophotometers: what they say, and what must be done to it before it can be trusted."""
