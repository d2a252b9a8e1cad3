"""Demo sessions of an invented boatyard sign shop: data, no code."""
