"""A release as one page. Only what the release holds is shown."""
