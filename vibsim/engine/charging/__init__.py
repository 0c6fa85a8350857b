"""Charging: compressors, what drives them, and the air path to the intake. Plain parts, coupled elsewhere."""
