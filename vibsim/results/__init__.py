"""The results file: labelled arrays, netCDF-4 conventions, written whole or not at all."""
