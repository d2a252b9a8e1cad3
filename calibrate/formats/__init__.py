"""Readings in and out, one module a file format. Nothing is corrected or judged here."""
