"""The virtual paint lab."""
