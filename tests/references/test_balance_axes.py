"""Forces and moments in vehicle axes against the mechanism's own, turned and moved point by point."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import packed, skewed
from vibsim.engine.balance import free_forces
from vibsim.studies.balance_axes import vehicle_rows


def test_amplitudes_along_vehicle_axes():
    """Derived: M = r × F about a point, over the whole course, then its Fourier amplitude; to rounding."""
    raw = skewed()
    _, found = packed(raw)
    free = free_forces(found.model.train, 250.0)
    origin = np.array(found.model.crank_origin)
    axes = found.layout.axes
    rows = vehicle_rows(axes, free, free.about(-origin), 4.0)
    force = np.column_stack([np.zeros(len(free.angle)), -free.force.imag, free.force.real])
    about_crank = np.column_stack([free.roll, -free.couple.real, -free.couple.imag])
    about_mass = about_crank + np.cross(origin, force)
    expected = {
        "force_N": force,
        "moment_about_crank_origin_N_m": about_crank,
        "moment_about_centre_of_mass_N_m": about_mass,
    }
    for row in rows:
        for key, course in expected.items():
            spectrum = 2.0 * np.abs(np.fft.fft(course @ axes.T, axis=0))[round(row["order"] * free.turns)] / len(course)
            assert row[key] == pytest.approx(spectrum, abs=1e-9 * np.abs(force).max())
