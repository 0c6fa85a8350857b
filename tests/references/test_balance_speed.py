"""What `find_balance` reuses: the working cycle of an operating point, and the mean of the moving parts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.cases import packed, skewed
from vibsim.engine.cycle import solve_cycle
from vibsim.engine.layout import resolve_layout
from vibsim.engine.moving_mass import moving_mass
from vibsim.inputs.loader import parse_case
from vibsim.solver.block import mean_moving_mass, moments_about_reference, without_turning_eccentrics
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case


def test_gas_torque_is_that_of_the_speed_asked_for():
    case_file = parse_case(new_case("v2-60", 900.0))
    run = case_file.case.run
    assert run is not None
    speed = 0.5 * run.speed
    slow = replace(case_file, case=case_file.case.model_copy(update={"run": run.model_copy(update={"speed": speed})}))
    asked, own, other = find_balance(case_file, speed), find_balance(slow), find_balance(case_file)
    assert np.array_equal(asked.gas, own.gas)
    assert not np.allclose(asked.gas, other.gas, rtol=1e-3)


def test_a_solved_cycle_is_kept_and_cannot_be_changed():
    engine = parse_case(new_case("single", 400.0)).case.engine
    assert engine is not None
    cylinder = resolve_layout(engine).cylinders[0]
    first = solve_cycle(engine, cylinder, 300.0, 0.5)
    assert solve_cycle(engine, cylinder, 300.0, 0.5) is first
    assert solve_cycle(engine, cylinder, 300.0, 0.6) is not first
    assert solve_cycle(engine, cylinder, 310.0, 0.5).work != first.work
    with pytest.raises(ValueError, match="read-only"):
        first.pressure[0] = 0.0


def test_moments_of_the_mean_are_the_mean_of_the_moments():
    """Linear in the sums, so equal to rounding."""
    train = without_turning_eccentrics(packed(skewed())[1].model.train)
    origin = np.array([0.03, -0.05, 0.02])
    angles = np.linspace(0.0, 2.0 * math.pi, 96, endpoint=False)
    each = [moments_about_reference(moving_mass(angle, train), train, origin) for angle in angles]
    first, second = moments_about_reference(mean_moving_mass(train), train, origin)
    assert first == pytest.approx(np.mean([item[0] for item in each], axis=0), abs=1e-14)
    assert second == pytest.approx(np.mean([item[1] for item in each], axis=0), abs=1e-14)
