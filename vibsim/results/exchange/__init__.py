"""Results for other programs: CSV with units in the header, universal files (UFF), JSON."""
