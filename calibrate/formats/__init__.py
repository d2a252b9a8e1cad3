"""One module a file format."""
