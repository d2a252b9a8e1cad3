"""From raw readings to trusted reflectance, and from reflectance to K and S."""
