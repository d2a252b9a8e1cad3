"""From card readings to K and S with their uncertainty."""
