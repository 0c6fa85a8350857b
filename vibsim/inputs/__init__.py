"""The case file: pydantic models, unit-suffixed keys, CSV traces. Knows nothing of physics."""
