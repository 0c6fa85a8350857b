"""Phasors by array operations against the Fourier transform of the exact mechanism over the revolution."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cases import packed, skewed
from vibsim.engine.balance import free_forces, split
from vibsim.engine.phasors import cylinders_of, order_phasors

ANGLES = st.tuples(*[st.floats(-180.0, 180.0)] * 3)


@settings(deadline=None, max_examples=30)  # the first call may compile
@given(banks=ANGLES, pins=ANGLES)
def test_phasors_are_those_of_the_mechanism(banks, pins):
    """Unlike cylinders with pin offsets, any angles; both are FFTs of smooth functions, equal to rounding."""
    raw = skewed()
    raw["engine"]["crank"]["counterweight"] = []
    raw["engine"]["balance_shaft"] = []
    for n, (cylinder, bank, pin) in enumerate(zip(raw["engine"]["cylinder"], banks, pins, strict=True)):
        cylinder["bank_deg"], cylinder["pin_deg"], cylinder["at_mm"] = bank, pin, 100.0 * n
    _, found = packed(raw)
    free = free_forces(found.model.train, 100.0)
    force, couple = split(free.force, free.turns), split(free.couple, free.turns)
    parts = cylinders_of(found.layout)
    for order in (1, 2, 3, 4):
        for expected, weight in ((force, 1.0), (couple, parts.at)):
            forward, backward = order_phasors(parts, order, parts.bank, parts.pin, weight)
            scale = 1e-10 * 1e4 * np.sum(parts.slider * 0.03)
            assert abs(1e4 * forward - expected.forward[order - 1]) < scale
            assert abs(1e4 * backward - expected.backward[order - 1]) < scale
