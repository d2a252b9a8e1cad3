"""The fit seen through a scanner's three channels."""
