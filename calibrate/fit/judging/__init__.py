"""What a fit says of its steps and paints: which are wrong, how they hide, tint and drift."""
