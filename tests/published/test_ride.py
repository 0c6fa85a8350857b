"""Ride models against published values."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import packed
from tests.vehicle_cases import quarter_car
from vibsim.solver.linearise import linearise
from vibsim.structure.modes import modes_of
from vibsim.structure.vertical_pack import apparent_mass


def test_rear_corner_of_a_saloon_car():
    # Barton and Fieldhouse 2018, Automotive Chassis Engineering, 3.13, p. 209: read there; 317.5 kg on 22 kN/m over
    # 45.4 kg on 192 kN/m has 7.87 and 68.73 rad/s, 1.25 and 10.9 Hz; in the first mode the wheel moves 0.104 times the
    # body. The page's equation has 4786 for the sum of the squares where its data give 4783.
    raw = quarter_car(unsprung_mass_kg=45.4, suspension_stiffness_N_per_mm=22.0, tyre_stiffness_N_per_mm=192.0)
    raw["body"][0]["mass_kg"] = 317.5
    for key in ("bump_damping_N_s_per_mm", "rebound_damping_N_s_per_mm", "tyre_damping_N_s_per_mm"):
        raw["wheel"][0][key] = 0.0
    linear = linearise(packed(raw)[1])
    both = np.ix_([2, 6], [2, 6])
    modes = modes_of(linear.mass[both], linear.damping[both], linear.stiffness[both], heights=2)
    assert 2.0 * np.pi * modes.frequency == pytest.approx([7.87, 68.73], rel=2e-3)
    assert modes.frequency == pytest.approx([1.25, 10.9], abs=0.05)
    wheel_over_body = modes.shape[0, 1, 2] / modes.shape[0, 0, 2]
    assert abs(wheel_over_body) == pytest.approx(0.104, abs=1e-3)


def test_apparent_mass_of_a_seated_person():
    # Fairley and Griffin 1989, as read in Kutz (ed.) 2009, Biomedical Engineering and Design Handbook, vol. 1, p. 272:
    # the normalised apparent mass of 60 people fits one mass at 5 Hz with 0.475 of critical damping on a seat-fixed
    # one. Maeda and Mansfield 2005, Ind. Health 43, abstract: most studies find the peak at 4.5 to 5 Hz, their own
    # subjects at 4 to 6.5 Hz. The numbers of the two-body model itself are from memory (Wei and Griffin 1998).
    frequencies = np.linspace(0.5, 20.0, 1951)
    share = np.abs(apparent_mass(frequencies, 1.0))
    peak = frequencies[share.argmax()]
    assert 4.5 <= peak <= 5.2
    assert share[0] == pytest.approx(1.0, abs=0.02)
    ratio = frequencies / 5.0
    single = np.abs((1.0 + 2j * 0.475 * ratio) / (1.0 - ratio**2 + 2j * 0.475 * ratio))
    assert share.max() == pytest.approx(single.max(), rel=0.05)  # the handbook gives no fixed mass; none is taken
    assert share[-1] < 0.35  # far above the peak little but the frame is felt
