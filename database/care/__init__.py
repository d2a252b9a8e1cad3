"""A studio kept well: backup, integrity, one number traced back, a release fitted anew.

Nothing new is measured here.
"""
