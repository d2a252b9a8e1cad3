"""The bytes between host and instrument: frames, checksums, numbers, what was said. Asks nobody."""
