"""The report: one HTML file that holds all it needs."""
