"""The command line, one module a command; it words what the rooms below answer."""
