"""Quantities read from results: orders, spectra, torque, mount forces."""
