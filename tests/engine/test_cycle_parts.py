"""Parts of the working cycle on their own: mixing to a fixed point, the course of a cylinder, knock limits, words."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from tests.cases import CONFIGS
from tests.gas_cases import engine_with
from vibsim.engine.course import Valve, course_of, shut_span
from vibsim.engine.cycle import solve_at, solve_cycle
from vibsim.engine.cycle_kernel import CycleModel
from vibsim.engine.cycle_setup import conditions_of, cycle_model
from vibsim.engine.knock import LATEST, knock_limited, octane_margin
from vibsim.engine.periodic import Anderson
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.loader import load_case
from vibsim.studies.gas_overview import gas_overview
from vibsim.studies.overview import overview


def test_mixing_solves_a_linear_map_in_as_many_steps_as_it_has_directions() -> None:
    """Derived: Anderson's mixing is then the method of least residuals; the sum the map keeps is kept."""
    turn = np.array([[0.5, 0.2, 0.1], [0.3, 0.6, 0.1], [0.2, 0.2, 0.8]])  # columns add up to one
    x, mixer = np.array([1.0, 0.0, 0.0]), Anderson()
    for _ in range(4):
        x = mixer.next(x, turn @ x)
        assert x.sum() == pytest.approx(1.0, abs=1e-9)
    assert turn @ x == pytest.approx(x, abs=1e-9)
    mixer.forget()
    assert mixer.next(x, 2.0 * x) == pytest.approx(2.0 * x)


def read(model: CycleModel, angle: np.ndarray) -> np.ndarray:
    """Volume, intake and exhaust area at angles (n), from the cubics."""
    cell = np.minimum((angle / model.step).astype(int), len(model.course) - 1)
    t = angle / model.step - cell
    powers = np.array([t**n for n in range(4)])
    return np.array([(model.course[cell, 4 * part : 4 * part + 4].T * powers).sum(axis=0) for part in range(3)])


def test_course_of_a_cylinder() -> None:
    """Against the exact volume, and squared sines; cubics over 2° leave h⁴/384 of the fourth derivative."""
    engine, cylinder = engine_with({})
    model = cycle_model(engine, cylinder, conditions_of(engine, 300.0, 1.0))
    angle = np.radians(np.linspace(0.0, 720.0, 1501))
    volume, intake, exhaust = read(model, angle)
    assert volume == pytest.approx(cylinder_volume(cylinder, angle)[0], rel=2e-7)
    area, degrees = 0.25 * math.pi * 0.072**2, np.degrees(angle)
    for found, opens, closes, share in ((intake, 350.0, 590.0, 0.15), (exhaust, 130.0, 370.0, 0.12)):
        sine = np.sin(np.pi * (degrees - opens) / (closes - opens)) ** 2
        exact = share * area * np.where((degrees > opens) & (degrees < closes), sine, 0.0)
        assert found == pytest.approx(exact, abs=1e-6 * area)
    assert (model.first, model.blowdown, len(model.course)) == (295, 65, 360)


def test_areas_are_exactly_zero_while_shut() -> None:
    """Otherwise a shut valve would count as open in the walls' heat."""
    engine, cylinder = engine_with({}, strokes=2)
    cubics = course_of(cylinder, Valve(2.0, 4.1, 1e-3), Valve(1.5, 4.7, 1e-3), 2.0 * math.pi, 360).cubics
    assert np.count_nonzero(~cubics[:, 4:].any(axis=1)) == pytest.approx(
        (2.0 * math.pi - 3.2) / math.radians(1.0), abs=2
    )
    assert shut_span((Valve(2.0, 4.1, 1e-3), Valve(1.5, 4.7, 1e-3)), 2.0 * math.pi) == pytest.approx(
        (4.7 - 2.0 * math.pi, 1.5)
    )
    assert engine.strokes == 2


def test_knock_limit_sets_the_burn_just_late_enough() -> None:
    engine, cylinder = engine_with({}, compression_ratio=11.5)
    at = conditions_of(engine, 260.0, 1.0)
    free, limited = solve_at(engine, cylinder, at), knock_limited(engine, cylinder, at)
    assert octane_margin(engine, free) < 0.0
    assert octane_margin(engine, limited) == pytest.approx(0.0, abs=0.05)
    assert octane_margin(engine, limited) >= 0.0
    assert 0.0 < limited.conditions.late < LATEST
    assert limited.work < free.work
    assert limited.peak_pressure < free.peak_pressure
    easy = conditions_of(engine, 260.0, 0.2)
    assert knock_limited(engine, cylinder, easy) is solve_at(engine, cylinder, easy)
    hopeless = knock_limited(engine, cylinder, at, 60.0)
    assert hopeless.conditions.late == LATEST


def test_octane_number_of_the_case_counts() -> None:
    base, better = engine_with({}), engine_with({"octane_number": 105.0})
    cycles = [solve_cycle(*single, 300.0, 1.0) for single in (base, better)]
    margins = [octane_margin(single[0], cycle) for single, cycle in zip((base, better), cycles, strict=True)]
    assert margins[1] - margins[0] == pytest.approx(10.0, abs=1e-3)  # the margin is the number less what is needed


def test_overview_of_the_gas() -> None:
    case_file = load_case(CONFIGS / "v3-80-trike.toml")
    understood = overview(case_file)
    (line,) = [line for line in understood.running if line.startswith("each cylinder: indicated")]
    cycle = understood.gas[0].cycle
    assert f"indicated {1e-5 * cycle.mean_pressure:.1f} bar (gross {1e-5 * cycle.gross_mean_pressure:.1f}," in line
    assert f"pumping −{-1e-5 * cycle.pumping_mean_pressure:.1f})" in line
    assert f"peak {1e-5 * cycle.peak_pressure:.0f} bar at {math.degrees(cycle.peak_angle):.0f}°" in line
    assert f"exhaust {cycle.exhaust_temperature:.0f} K" in line
    assert "± 5 octane numbers" in line
    found = json.loads(json.dumps(understood.as_dict()))["gas"]
    assert [row["cylinders"] for row in found] == [["1", "2", "3"]]
    assert found[0]["indicated_mean_pressure_bar"] == pytest.approx(1e-5 * cycle.mean_pressure)


def test_overview_tells_unlike_cylinders_apart() -> None:
    case = load_case(CONFIGS / "v3-80-trike.toml").case
    assert case.engine is not None
    cylinders = list(case.engine.cylinder)
    cylinders[1] = cylinders[1].model_copy(update={"fuelling": 0.0})
    engine = case.engine.model_copy(update={"cylinder": tuple(cylinders)})
    found = gas_overview(case.model_copy(update={"engine": engine}), CONFIGS)
    assert [alike.cylinders for alike in found] == [("1", "3"), ("2",)]
    assert "no fuel" in found[1].words()
    assert found[1].margin is None
    assert "knock" not in found[1].words()
