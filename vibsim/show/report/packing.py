"""Arrays of numbers as text."""

from __future__ import annotations

import base64

import numpy as np


def packed(values: np.ndarray) -> str:
    """Base64 of little-endian 32-bit floats; nan stays nan."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()
