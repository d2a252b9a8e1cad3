"""Spectra, surfaces, turbid films, colour, coefficients and prediction."""
