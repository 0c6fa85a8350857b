"""Sizing of mounts: variables, measures, search, robustness, outcome."""
