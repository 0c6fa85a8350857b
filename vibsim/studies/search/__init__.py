"""Search over crankpin and bank angles under limits."""
