"""The fit itself: forward model, blocks, normal equations, descent. Nothing is judged here."""
