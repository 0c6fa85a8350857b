"""Stages, lash and rounding of a shaft's torque over its twist."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import CONFIGS
from vibsim.engine.shaft_law import damping_torque, ramp, spring_law
from vibsim.inputs.loader import load_case
from vibsim.inputs.rotor_models import Shaft
from vibsim.jit import kernel
from vibsim.solver.packed import pack

STAGED = Shaft(
    between=("a", "b"), stage_twist=(-0.2, -0.05, 0.0, 0.07, 0.28), stage_torque=(-160.0, -8.0, 0.0, 10.0, 330.0)
)


def test_stages_pass_their_points_and_go_on_as_they_ended() -> None:
    law = spring_law(STAGED)
    assert law.torque(-0.2) == pytest.approx(-160.0)
    assert law.torque(0.28) == pytest.approx(330.0)
    # a rounded corner stands above the table by a quarter of its width times the change of slope: derived
    width, change = 0.1 * 0.07, 320.0 / 0.21 - 10.0 / 0.07
    assert law.torque(0.07) == pytest.approx(10.0 + 0.25 * width * change)
    assert law.stiffness(0.5) == pytest.approx(320.0 / 0.21)
    assert law.torque(0.49) == pytest.approx(650.0)


def test_stages_from_nought_hold_both_ways() -> None:
    law = spring_law(Shaft(between=("a", "b"), stage_twist=(0.0, 0.1, 0.2), stage_torque=(0.0, 5.0, 100.0)))
    for twist in (0.03, 0.1, 0.17, 0.4):
        assert law.torque(-twist) == pytest.approx(-law.torque(twist))


@kernel
def damping(twist, rate, damper, friction, half_lash, width):
    return damping_torque(twist, rate, damper, friction, half_lash, width)


def test_lash_lets_go() -> None:
    law = spring_law(Shaft(between=("a", "b"), stiffness=1000.0, lash=0.02))
    assert [law.torque(twist) for twist in (-0.008, 0.0, 0.008)] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    assert law.torque(0.05) == pytest.approx(40.0)
    assert law.torque(-0.05) == pytest.approx(-40.0)
    inside = damping(0.005, 3.0, 2.0, 0.0, law.half_lash, law.lash_width)
    outside = damping(0.05, 3.0, 2.0, 0.0, law.half_lash, law.lash_width)
    assert (inside, outside) == (0.0, 6.0)


@pytest.mark.parametrize("changes", [{}, {"lash": 0.03}])
def test_torque_and_stiffness_go_together_and_turn_back(changes: dict) -> None:
    """Derived: stiffness is the slope of torque everywhere, so torque is smooth; `twist` undoes `torque`."""
    law = spring_law(STAGED.model_copy(update=changes))
    twists = np.linspace(-0.4, 0.4, 4001)
    torque, step = np.array([law.torque(twist) for twist in twists]), 1e-7
    slope = np.array([(law.torque(twist + step) - law.torque(twist - step)) / (2.0 * step) for twist in twists])
    assert np.array([law.stiffness(twist) for twist in twists]) == pytest.approx(slope, rel=1e-6, abs=0.05)
    assert np.all(np.diff(torque) >= -1e-9)  # rounding, of hundreds of N m
    for twist in (-0.3, -0.1, 0.06, 0.2):
        assert law.twist(law.torque(twist)) == pytest.approx(twist, abs=1e-10)


def test_ramp_is_a_corner_far_from_it() -> None:
    assert [ramp.py_func(x, 0.1) for x in (-0.2, -0.1, 0.0, 0.1, 0.3)] == pytest.approx([0.0, 0.0, 0.025, 0.1, 0.3])


def test_what_a_run_makes_of_rubber_is_said() -> None:
    """Derived: as much loss at 530 Hz is η·k/(2π·530 Hz) = 0.18·2.4e4/3330 N m s/rad."""
    file = load_case(CONFIGS / "inline-4-van-driveline.toml")
    notes = [note for note in pack(file.case, file.folder).mount_notes if note.startswith("shaft")]
    assert notes == [
        "shaft 'rubber': loss factor 0.18 runs as a viscous damper of 1.3 N m s/rad, which loses as much at 530 Hz, "
        "less below and more above"
    ]
