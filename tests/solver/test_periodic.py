"""Steady runs found as periodic states: against long settled runs, the linear case and integrated departures."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.linalg import expm

from tests.cases import as_file, mount, single
from tests.mount_cases import law_mount
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Case
from vibsim.post.quantities import post_process
from vibsim.post.summary import summarise
from vibsim.results.collect import collect
from vibsim.show.run_tables import _settling
from vibsim.solver.floquet import Floquet, floquet
from vibsim.solver.frequency import gyroscopic
from vibsim.solver.linearise import linearise
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.orbit_slopes import moved_beside, orbit_slopes, way_beside
from vibsim.solver.packed import Packed, pack
from vibsim.solver.periodic import Periodic, periodic_state
from vibsim.solver.shooting import Shooting
from vibsim.solver.simulate import simulate
from vibsim.solver.steady import worst_change
from vibsim.solver.steady_state import INSTEAD
from vibsim.structure.rotation import quaternion_of_vector
from vibsim.studies.points import steady_point

CORNERS = {"left": [200.0, 150.0, 0.0], "right": [200.0, -150.0, 0.0], "rear": [-200.0, 0.0, 0.0]}
TIGHT = {"settle_tolerance": 1e-8, "relative_tolerance": 1e-10}


def _raw(law: str = "linear", gas: str = "motored", **run: Any) -> dict[str, Any]:
    raw = single()
    raw["mount"] = [
        law_mount(law, name=name, at_mm=at, damping_N_s_per_mm=[0.4, 0.3, 0.4]) for name, at in CORNERS.items()
    ]
    raw["engine"]["gas"] = {"source": gas}
    raw["run"] = {"kind": "steady", "speed_rpm": 3000.0, "duration_s": 0.05, "solve": "periodic"} | run
    return raw


def _found(case: Case, guess: Periodic | None = None) -> tuple[Periodic, Packed]:
    packed = pack(case, Path())
    assert case.run is not None
    return periodic_state(case, case.run, packed, guess), packed


@pytest.mark.parametrize("law", ["linear", "progressive", "hydraulic", "bump_stop"])
def test_equals_a_long_settled_run(law: str) -> None:
    """Law: both are the same motion. Tolerance 1e-6 of the rms: what a change of 1e-8 a cycle leaves of departures that
    fall to 0.9 of themselves a cycle is ten times less."""
    periodic, settled = (simulate(build_case(_raw(law, solve=solve, **TIGHT))) for solve in ("periodic", "settle"))
    assert periodic.settling is not None
    assert settled.settling is not None
    assert (periodic.settling.solve, settled.settling.solve) == ("periodic", "settle")
    assert periodic.settling.residual < 1e-8
    assert 2 * periodic.settling.cycles < settled.settling.cycles
    assert periodic.settling.mean_speed == pytest.approx(100.0 * math.pi, rel=1e-8)
    assert periodic.over_angle is not None
    assert settled.over_angle is not None
    for name in ("mount_force", "body_acceleration", "crank_speed", "inertia_torque"):
        mine, other = getattr(periodic.over_angle, name), getattr(settled.over_angle, name)
        rms = np.sqrt(((other - other.mean(axis=0)) ** 2).mean(axis=0)).max()
        assert np.abs(mine - other).max() < 1e-6 * rms, name


def test_ends_where_it_began() -> None:
    """Law: a cycle integrated by itself from the state found closes, mounts with states of their own included."""
    case = build_case(_raw("relaxation", **TIGHT))
    found, packed = _found(case)
    assert case.run is not None
    shooting = Shooting(case, case.run, packed)
    gap = shooting.gap(shooting.cycle(found.state, found.value))
    # in units of the floors (1 mm, 0.1 m/s ...) and seconds; the swing is of that size
    assert np.abs(gap).max() < 1e-7


def test_a_period_of_misfire_is_a_cycle() -> None:
    raw = _raw(gas="cycle", misfire={"cylinder": "1", "every": 3})
    point = steady_point(build_case(raw), Path())
    settled = simulate(build_case(raw | {"run": raw["run"] | {"solve": "settle"}}))
    assert point.solution.angle is not None
    assert len(point.solution.angle) == 3 * 720
    assert settled.over_angle is not None
    mine, other = point.solution.over_angle.mount_force, settled.over_angle.mount_force
    # a change of 1e-4 a period leaves a few times that of departures that hardly outlive three cycles
    assert np.abs(mine - other).max() < 1e-3 * np.abs(other - other.mean(axis=0)).max()


def _heavy() -> Case:
    """Moving parts a thousandth of the engine's mass and a crank that runs evenly: nearly a linear system."""
    raw = _raw(gas="none", gravity=False, **TIGHT)
    raw["engine"]["crank"]["inertia_kg_m2"] = 50.0
    raw["body"][0] |= {"mass_kg": 600.0, "inertia_kg_m2": [60.0, 90.0, 70.0, 0.0, 0.0, 0.0]}
    raw["body"][0] |= {"centre_of_mass_mm": [0.0, 0.0, 0.0]}
    raw["mount"] = [
        mount(name, at_mm=at, stiffness_N_per_mm=[3000, 2000, 4000], damping_N_s_per_mm=[9, 6, 12])
        for name, at in CORNERS.items()
    ]
    return build_case(raw)


def test_multipliers_are_those_of_the_linear_case() -> None:
    """Reference: eigenvalues of exp(A·T), A of the linear model (derived from M, C + G, K). Second order in moving over
    whole mass (0.6 kg on 600 kg), here through every eigenvalue's exponent of a few: 1e-2."""
    case = _heavy()
    found, packed = _found(case)
    assert case.run is not None
    linear = linearise(packed, crank="free", speed=case.run.speed)
    drag = linear.damping + gyroscopic(packed, case.run.speed)
    inverse = np.linalg.inv(linear.mass)
    whole = np.block([[np.zeros((6, 6)), np.eye(6)], [-inverse @ linear.stiffness, -inverse @ drag]])
    expected = np.linalg.eigvals(expm(whole * packed.cycle / case.run.speed))
    mine = floquet(case, case.run, packed, found).multipliers
    assert mine.size == expected.size
    for value in expected:
        assert np.abs(mine - value).min() < 1e-2 * np.abs(expected).max()
    assert np.sort(np.abs(mine)) == pytest.approx(np.sort(np.abs(expected)), abs=1e-2 * np.abs(expected).max())


def test_multipliers_are_those_of_integrated_departures() -> None:
    """Independent: central differences of whole cycles integrated to 1e-11; floquet.ERROR is what is claimed."""
    case = build_case(_raw("progressive", gas="cycle", **TIGHT))
    found, packed = _found(case)
    assert case.run is not None
    shooting = Shooting(case, case.run, packed)
    added, columns = found.value, []
    for n, scale in enumerate(shooting.scale):
        way = np.zeros(shooting.scale.size)
        way[n] = 1e-2 * scale
        ends = [shooting.cycle(moved_beside(found.state, sign * way, 1), added).end for sign in (1.0, -1.0)]
        columns.append(way_beside(ends[1], ends[0], 1) / (2.0 * way[n]))
    expected = np.linalg.eigvals(np.array(columns).T)
    mine = floquet(case, case.run, packed, found)
    together = np.append(mine.multipliers, mine.crank_speed)
    for value in expected:
        assert np.abs(together - value).min() < 2e-4


def test_slopes_are_those_of_the_rates() -> None:
    """The slope of the crank's rate with its own momentum, by hand from the equations of motion."""
    case = build_case(_raw(**TIGHT))
    found, packed = _found(case)
    assert case.run is not None
    shooting = Shooting(case, case.run, packed)
    states = shooting.cycle(found.state, found.value).states[1:2]
    slopes = orbit_slopes(states, packed, shooting.scale, both_sides=True)[0]

    def rate(change: float) -> float:
        y, out = states[0].copy(), np.zeros(packed.state_size)
        y[-1] += change
        derivatives(y, packed.model, *scratch(1), out)
        return float(out[-1] / out[-2])

    step = 1e-3 * shooting.scale[-1]
    by_hand = (rate(step) - rate(-step)) / (2.0 * step)
    # in units of the scale on both sides, so the same number
    assert slopes[-3, -3] == pytest.approx(by_hand, rel=1e-5)


def test_moving_beside_and_back() -> None:
    """Law: the way to a state moved beside another is what it was moved by, whichever sign its quaternion has."""
    random = np.random.default_rng(4)
    state = random.standard_normal(13 + 2)
    state[3:7] = quaternion_of_vector(np.array([0.3, -2.0, 0.8]))
    way = 0.1 * random.standard_normal(13)
    other = moved_beside(state, way, 1)
    np.testing.assert_allclose(way_beside(state, other, 1), way, rtol=0, atol=1e-14)
    other[3:7] *= -1.0
    np.testing.assert_allclose(way_beside(state, other, 1), way, rtol=0, atol=1e-14)
    np.testing.assert_allclose(way_beside(state, state, 1), 0.0, rtol=0, atol=1e-15)


def test_a_neighbour_saves_cycles_and_changes_nothing() -> None:
    points: list[Periodic] = []
    for rpm in (2900.0, 2950.0, 3000.0):
        points.append(_found(build_case(_raw(speed_rpm=rpm, **TIGHT)), points[-1] if points else None)[0])
    alone = _found(build_case(_raw(**TIGHT)))[0]
    assert points[2].cycles <= alone.cycles
    assert points[2].before is not None
    assert points[2].before.before is None  # a sweep of thousands keeps two
    assert points[2].load == pytest.approx(alone.load, abs=1e-6)
    np.testing.assert_allclose(points[2].state, alone.state, rtol=0, atol=1e-7)


def test_a_guess_of_another_case_is_left_aside() -> None:
    other, _ = _found(build_case(_raw("relaxation")))
    found, _ = _found(build_case(_raw()), other)
    assert found.residual < 1e-4


def test_a_point_is_a_cycle_with_all_quantities() -> None:
    file = as_file(_raw(gas="cycle"))
    point = steady_point(file.case, file.folder)
    results = point.results(file)
    whole = post_process(collect(simulate(file.case), file))
    assert point.cycles < 10
    assert point.solution.time[-1] == pytest.approx(0.04 * 719 / 720, rel=1e-4)  # 4π at 3000 rpm
    for name in ("mount_forces/resultant_rms", "torque/swing"):
        assert results[name] == pytest.approx(whole[name], rel=1e-4)  # the tolerance of both
    assert results.attributes["solve"] == "periodic"


def test_no_stable_state_is_said_and_settled() -> None:
    """An engine balanced on mounts too close to hold it up: upright it repeats, and falls when left alone."""
    raw = _raw(start="drawn", settle_cycles=4)
    raw["body"][0]["centre_of_mass_mm"] = [0.0, 0.0, 400.0]
    near = {"a": [20.0, 0.0, 0.0], "b": [-10.0, 17.0, 0.0], "c": [-10.0, -17.0, 0.0]}
    raw["mount"] = [mount(name, at_mm=at, damping_N_s_per_mm=[0.3, 0.3, 0.3]) for name, at in near.items()]
    solution = simulate(build_case(raw))
    assert solution.floquet is None
    assert solution.settling is not None
    assert solution.settling.solve == INSTEAD
    assert "unstable" in solution.warnings[-1]
    assert "settled cycle by cycle" in solution.warnings[-1]


def test_nothing_that_brings_it_back_is_said_and_settled() -> None:
    raw = _raw(gravity=False, start="drawn", settle_cycles=4)
    raw["mount"] = []
    point = steady_point(build_case(raw), Path())
    assert point.guess is None
    assert point.solution.settling.solve == INSTEAD
    assert "no periodic state" in point.solution.warnings[-1]


def test_undamped_mounts_are_warned_of() -> None:
    raw = _raw(gas="none", gravity=False)
    raw["mount"] = [mount(name, at_mm=at) for name, at in CORNERS.items()]
    solution = simulate(build_case(raw))
    assert solution.settling.solve == "periodic"
    assert any("hardly anything damps" in line for line in solution.warnings)


def test_forecast_of_settling() -> None:
    """Derived: 0.9ⁿ = 1e-4; where all falls faster than the governor lets the speed come back, that counts."""
    assert Floquet(np.array([0.9j, 0.2]), 1.0).cycles_to(1e-4) == pytest.approx(math.log(1e-4) / math.log(0.9))
    assert Floquet(np.array([0.1]), 1.0).cycles_to(1e-4) == pytest.approx(math.log(1e-4) / math.log(0.61))
    assert math.isinf(Floquet(np.array([1.0]), 1.0).cycles_to(1e-4))


def test_results_and_table_say_how_it_was_found() -> None:
    file = as_file(_raw())
    summary = summarise(post_process(collect(simulate(file.case, file.folder), file)))
    assert summary["settling"]["solve"] == "periodic"
    assert 0.0 < summary["settling"]["floquet_largest"] < 1.0
    assert "periodic state from" in _settling(summary["settling"])
    assert worst_change(np.array([2.0]), np.zeros((1, 0, 3)), 4.0, np.zeros(0), []) == (0.5, "crank speed")


@pytest.mark.parametrize(
    ("run", "words"),
    [
        ({"variation": {"coefficient_of_variation": 0.05}}, "no two cycles are alike"),
        ({"kind": "free"}, "is for kind = 'steady'"),
        ({"solve": "shoot"}, "run.solve"),
    ],
)
def test_bad_input_in_one_line(run: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as error:
        build_case(_raw(gas="cycle", **run))
    assert len(error.value.problems) == 1
    assert words in error.value.problems[0]
    assert "solve" in error.value.problems[0]


def test_a_point_needs_a_steady_run() -> None:
    with pytest.raises(InputError, match="steady"):
        steady_point(build_case(_raw(kind="free", solve="settle")), Path())
