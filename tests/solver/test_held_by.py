"""What holds the mean speed of a steady run: load torque, the engine's load, a governor in closed loop."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.solver.test_periodic import _raw
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.studies.points import steady_point

RPM = np.pi / 30.0
TIGHT = {"settle_tolerance": 1e-7, "relative_tolerance": 1e-10}


def _both(raw: dict[str, Any]) -> tuple[Solution, Solution]:
    periodic, settled = (
        simulate(build_case(raw | {"run": raw["run"] | {"solve": solve}})) for solve in ("periodic", "settle")
    )
    assert periodic.settling is not None
    assert settled.settling is not None
    assert (periodic.settling.solve, settled.settling.solve) == ("periodic", "settle")
    assert settled.settling.settled
    return periodic, settled


def _apart(one: Solution, other: Solution) -> float:
    """Largest difference of outputs over a cycle, of the rms."""
    worst = 0.0
    for name in ("mount_force", "body_acceleration", "crank_speed"):
        mine, its = getattr(one.over_angle, name), getattr(other.over_angle, name)
        rms = np.sqrt(((its - its.mean(axis=0)) ** 2).mean(axis=0)).max()
        worst = max(worst, float(np.abs(mine - its).max() / rms))
    return worst


def test_a_load_is_found_for_a_torque() -> None:
    """Law: the state of the load found is that of the same load with the torque found for it."""
    found = simulate(build_case(_raw(gas="cycle", held_by="load", torque_N_m=6.0, **TIGHT)))
    assert found.settling is not None
    assert found.settling.solve == "periodic"
    assert found.settling.load_torque == pytest.approx(6.0, abs=1e-12)
    assert found.settling.mean_speed == pytest.approx(3000.0 * RPM, rel=1e-7)
    load = found.packed.load
    other = simulate(build_case(_raw(gas="cycle", load=load, **TIGHT)))
    assert other.settling is not None
    # the slope of torque over load is some 20 N m; both are found to 1e-7 of the speed's swing a cycle
    assert other.settling.load_torque == pytest.approx(6.0, abs=1e-4)
    # an opening away from 6 N m of brake torque at constant speed: that is the first guess
    assert load != pytest.approx(_first_load(), abs=1e-7)


def _first_load() -> float:
    solution = simulate(build_case(_raw(gas="cycle", torque_N_m=6.0, settle_tolerance=1e-3)))
    return solution.packed.load


def test_a_load_found_is_that_of_a_settled_run() -> None:
    raw = _raw(gas="cycle", held_by="load", **(TIGHT | {"settle_tolerance": 1e-6}))
    raw["engine"]["load"] = {"law": "road", "torque_N_m": 2.0, "quadratic_N_m_s2": 4e-5}
    periodic, settled = _both(raw)
    assert periodic.packed.load == pytest.approx(settled.packed.load, abs=1e-5)
    # a change of 1e-6 a cycle of the swing leaves ten times that of what falls to 0.9 a cycle
    assert _apart(periodic, settled) < 3e-5


def test_a_sweep_goes_from_load_to_load() -> None:
    first = steady_point(build_case(_raw(gas="cycle", held_by="load", torque_N_m=6.0)), Path())
    second = steady_point(build_case(_raw(gas="cycle", held_by="load", torque_N_m=6.5)), Path(), first.guess)
    assert second.guess is not None
    assert first.guess is not None
    assert second.guess.value > first.guess.value
    alone = steady_point(build_case(_raw(gas="cycle", held_by="load", torque_N_m=6.5)), Path())
    assert alone.guess is not None
    assert second.guess.value == pytest.approx(alone.guess.value, abs=1e-5)


def _governed(acts_on: str, **run: Any) -> dict[str, Any]:
    raw = _raw(gas="cycle" if acts_on == "throttle" else "motored", held_by="governor", **run)
    del raw["run"]["speed_rpm"]
    raw["engine"]["crank"]["inertia_kg_m2"] = 0.1
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 10.0}
    gains: dict[str, Any] = {"proportional_per_rpm": 1e-4, "integral_per_rpm_s": 2e-4}
    if acts_on == "torque":
        gains = {"proportional_N_m_s": 0.5, "integral_N_m_per_rad": 0.5, "greatest_torque_N_m": 60.0}
    raw["engine"]["governor"] = {"acts_on": acts_on, "speed_rpm": 1500.0} | gains
    return raw


@pytest.mark.slow
@pytest.mark.parametrize("acts_on", ["throttle", "torque"])
def test_a_governor_is_part_of_the_state(acts_on: str) -> None:
    """Law: its integral stands still over a cycle only at its own mean speed; settled in closed loop it is the same."""
    periodic, settled = _both(_governed(acts_on, settle_tolerance=1e-7, relative_tolerance=1e-10))
    assert periodic.settling is not None
    assert settled.settling is not None
    assert periodic.settling.mean_speed == pytest.approx(1500.0 * RPM, rel=1e-6)
    assert periodic.settling.cycles < settled.settling.cycles
    assert periodic.floquet is not None
    left = 1e-7 / (1.0 - periodic.floquet.largest)
    assert _apart(periodic, settled) < max(1e-6, 10.0 * left)


@pytest.mark.slow
def test_without_integral_the_speed_follows() -> None:
    raw = _governed("torque")
    raw["engine"]["governor"]["integral_N_m_per_rad"] = 0.0
    solution = simulate(build_case(raw))
    assert solution.settling is not None
    assert solution.settling.solve == "periodic"
    # a proportional governor lets the speed sag until the torque it gives is the one needed: 0.5 N m s of the gap
    given = 0.5 * (1500.0 * RPM - solution.settling.mean_speed)
    assert given == pytest.approx(_needed(solution), rel=1e-2)


def _needed(solution: Solution) -> float:
    """Mean torque (N m) that the crank lacks, by its balance over the cycle of the record."""
    seen = solution.over_angle
    assert seen is not None
    return float(10.0 + np.abs(seen.friction_torque).mean() - seen.gas_torque.mean())


def test_a_governor_that_cannot_hold_is_told() -> None:
    raw = _governed("torque")
    raw["engine"]["governor"]["greatest_torque_N_m"] = 3.0
    with pytest.raises(InputError, match=r"engine.governor.greatest_torque: got 3 N m; holding 1500 rpm takes 1\d"):
        simulate(build_case(raw))
    raw = _governed("throttle")
    raw["engine"]["load"]["torque_N_m"] = 100.0
    with pytest.raises(InputError, match=r"cannot hold 1500 rpm; with the throttle wide open .* N m are lacking"):
        simulate(build_case(raw))
    raw["engine"]["load"]["torque_N_m"] = -100.0
    with pytest.raises(InputError, match=r"cannot hold 1500 rpm; with the throttle shut .* N m are left over"):
        simulate(build_case(raw))


def test_a_torque_that_the_engine_does_not_give_is_told() -> None:
    with pytest.raises(InputError, match=r"run.torque: got 900 N m; at 3000 rpm the engine gives .* \(load 1\)"):
        simulate(build_case(_raw(gas="cycle", held_by="load", torque_N_m=900.0)))
    raw = _raw(gas="cycle", held_by="load")
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 800.0}
    with pytest.raises(InputError, match=r"engine.load .*: got 800 N m; at 3000 rpm the engine gives"):
        simulate(build_case(raw))


@pytest.mark.parametrize(
    ("run", "words"),
    [
        ({"held_by": "load", "load": 0.5}, "run.load"),
        ({"held_by": "load", "kind": "free", "solve": "settle"}, "run.held_by"),
        ({"held_by": "load", "speed_is": "prescribed", "solve": "settle"}, "leaves nothing to hold"),
        ({"held_by": "load", "variation": {"coefficient_of_variation": 0.05}, "solve": "settle"}, "no two cycles"),
        ({"held_by": "governor"}, "needs an [engine.governor] table"),
    ],
)
def test_bad_input_in_one_line(run: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as error:
        build_case(_raw(gas="cycle", **run))
    assert len(error.value.problems) == 1
    assert words in error.value.problems[0]


def test_a_load_needs_gas_that_knows_it() -> None:
    with pytest.raises(InputError, match=r"run.held_by: .* engine.gas.source = 'cycle'"):
        build_case(_raw(gas="motored", held_by="load"))
    raw = _governed("throttle", load=0.3)
    with pytest.raises(InputError, match=r"run.load.* is what the governor finds"):
        build_case(raw)
