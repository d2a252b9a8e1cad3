"""The views of the local page, one a part; each words what a room below answers."""
