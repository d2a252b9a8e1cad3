"""The page for a class that mixes together. It needs no network, and keeps nothing."""
