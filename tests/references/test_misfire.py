"""Runs whose cycles differ: torque of a missing cylinder, work of each cycle, what is recorded."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace as changed
from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS
from vibsim.engine.cycle import solve_at
from vibsim.engine.cycle_setup import conditions_of
from vibsim.engine.layout import resolve_layout
from vibsim.engine.packed_gas import cylinder_pressures
from vibsim.engine.variation import gross_works, relative_series
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.post.quantities import post_process
from vibsim.results.collect import collect
from vibsim.solver.packed import pack
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.solver.varied import with_misfire, with_variation
from vibsim.studies.overview import overview

DEMO = (CONFIGS / "v3-80-trike.toml").read_text(encoding="utf-8")
SPEED, CYCLE = 4000.0 * math.pi / 30.0, 4.0 * math.pi


def trike(**run: Any) -> CaseFile:
    raw = tomllib.loads(DEMO)
    raw["run"] |= {"duration_s": 0.4, "settle_tolerance": 1e-2, **run}
    return CaseFile(build_case(raw), DEMO, CONFIGS, "trike")


def solved(**run: Any) -> Solution:
    file = trike(**run)
    return simulate(file.case, file.folder)


def lines(torque: np.ndarray, cycles: int = 1) -> np.ndarray:
    """Complex amplitudes of 1, 2, ... periods in so many cycles."""
    return 2.0 * np.fft.rfft(torque)[1 : 12 * cycles] / len(torque)


@pytest.fixture(scope="module")
def plain() -> Solution:
    return solved()


def missing_torque(index: int) -> tuple[np.ndarray, float]:
    """Crank torque (360) over a cycle about its firing, from half a cycle before on, that a cylinder gives less when it
    misfires, from cycles solved apart; and the crank angle of that firing."""
    engine = trike().case.engine
    assert engine is not None
    cylinder = resolve_layout(engine).cylinders[index]
    at = conditions_of(engine, SPEED, 0.35)
    fired, unfired = solve_at(engine, cylinder, at), solve_at(engine, cylinder, changed(at, fuelling=0.0))
    angle = fired.angle[:-1]
    own = (fired.pressure - unfired.pressure)[:-1] * cylinder_volume(cylinder, angle)[1]
    return np.roll(own, 180), cylinder.firing


@pytest.mark.parametrize("index", [0, 1, 2])
def test_dead_cylinder_changes_half_orders_as_its_phasor_says(plain: Solution, index: int) -> None:
    """Derived: torque is the sum over cylinders, so that each order changes by the phasor of the missing one's burning.
    The trapezoid over 2° aliases orders above 180, which a pressure of two continuous derivatives has 1e-4 of."""
    dead = solved(misfire={"cylinder": str(index + 1), "pattern": [0]})
    assert dead.settling is not None
    assert dead.settling.settled
    change = lines(dead.over_angle.gas_torque) - lines(plain.over_angle.gas_torque)
    torque, firing = missing_torque(index)
    turned = np.arange(1, 12) * 0.5 * (firing - 0.5 * CYCLE)
    expected = -lines(torque) * np.exp(-1j * turned)
    np.testing.assert_allclose(change, expected, atol=5e-4 * np.abs(expected).max())
    before, after = (abs(lines(solution.over_angle.gas_torque)[0]) for solution in (plain, dead))
    # order 1/2 of this uneven V is strong; without the cylinder of the rear bank, which fires into its gap, it is not
    assert (after < 0.5 * before) if index == 1 else (after > 1.1 * before)


def test_misfire_of_every_other_cycle_has_quarter_orders(plain: Solution) -> None:
    """Derived: one of two cycles less by the missing torque; order 1/4 is new. It comes and goes over the passage about
    gas exchange, where fired and unfired differ by 1e-3 of their greatest difference."""
    other = solved(misfire={"cylinder": "2", "every": 2})
    assert other.packed.period == pytest.approx(2.0 * CYCLE)
    assert len(other.angle) == 2 * 720
    assert other.settling is not None
    assert other.settling.settled
    gap = np.concatenate([missing_torque(1)[0], np.zeros(360)])
    torque, steady = other.over_angle.gas_torque, np.tile(plain.over_angle.gas_torque, 2)
    found = np.abs(lines(torque - steady, 2))
    np.testing.assert_allclose(found, np.abs(lines(gap, 2)), atol=2e-3 * found.max())
    results = post_process(collect(other, trike(misfire={"cylinder": "2", "every": 2})))
    assert results["torque/order"][1] == pytest.approx(0.25)
    assert results.attributes["misfire_pattern"] == "1 0"


def test_period_of_misfire_repeats() -> None:
    """Law: pressure and torque of the settling model are those of a period before, at any angle."""
    for every in (1, 2, 3):
        file = trike(misfire={"cylinder": ["1", "3"], "every": every})
        assert file.case.run is not None
        model = with_misfire(pack(file.case, CONFIGS), file.case.run)
        gas, angle = model.model.gas, np.linspace(-1.0, 1.0, 201) + CYCLE * np.arange(3)[:, None]
        for shift in (model.period, -model.period):
            here = cylinder_pressures(angle.ravel(), SPEED, gas)
            np.testing.assert_allclose(cylinder_pressures(angle.ravel() + shift, SPEED, gas), here, rtol=1e-9)


def test_work_of_each_cycle_of_a_run_is_that_of_the_series() -> None:
    """Derived: the run's own pressures over compression and expansion of each cycle, by the trapezoid in half degrees
    (error about 1e-4 of the work); between cycles the record goes on without a step from the settled one."""
    variation = {"coefficient_of_variation": 0.15, "lag_correlation": 0.4, "seed": 3}
    file = trike(variation=variation, points_per_cycle=1440)
    run = simulate(file.case, CONFIGS)
    assert not run.periodic
    layout, gas = run.packed.layout, run.packed.model.gas
    relative = relative_series(file.case.run.variation, 13, 3)
    fired = gross_works(gas, layout, SPEED)[0]
    angle, pressure = run.over_angle.crank_angle, run.over_angle.cylinder_pressure
    for i, cylinder in enumerate(layout.cylinders):
        first = float(gas.charges["begins"][i]) + 2.0 * CYCLE + 0.5 * CYCLE  # two cycles lead
        for n in range(8):
            local = angle - first - n * CYCLE
            at = np.abs(local) < math.pi + 1e-9
            slope = cylinder_volume(cylinder, local[at])[1]
            work = np.trapezoid(pressure[at, i] * slope, local[at])
            assert work == pytest.approx(relative[n, i] * fired[i], rel=2e-4)


def test_record_says_what_was_asked_and_what_was_found() -> None:
    file = trike(variation={"coefficient_of_variation": 0.08, "seed": 5}, misfire={"cylinder": "1", "every": 4})
    solution = simulate(file.case, CONFIGS)
    results = post_process(collect(solution, file))
    attributes = results.attributes
    assert (attributes["variation_asked"], attributes["variation_seed"]) == (0.08, 5)
    assert attributes["variation_cycles"] == 12
    relative = relative_series(file.case.run.variation, 12, 3)
    kept = np.concatenate([relative[np.arange(12) % 4 < 3, 0], relative[:, 1], relative[:, 2]])
    assert attributes["variation_found"] == pytest.approx(kept.std(ddof=1) / kept.mean(), rel=1e-12)
    assert abs(attributes["variation_found"] - 0.08) < 4.0 * attributes["variation_expected_scatter"]
    words = overview(file).running
    assert any(
        line.startswith("variation: 8 % of the gross indicated mean pressure, lognormal, seed 5") for line in words
    )
    assert "misfire: cylinder 1, cycles 1 1 1 0 (0 misfires)" in words


def test_free_run_varies_too() -> None:
    """Law: a free run starts with the cycles under way burning as without, and differs from the plain one after."""
    quiet, varied = (
        solved(kind="free", **extra).over_time.cylinder_pressure
        for extra in ({}, {"variation": {"coefficient_of_variation": 0.2}})
    )
    np.testing.assert_allclose(varied[:4], quiet[:4], rtol=1e-9)
    assert np.abs(varied - quiet).max() > 2e5


def test_other_studies_see_the_plain_cycle() -> None:
    """Law: variation and misfire belong to the run; a packed case alone has neither in force."""
    file = trike(variation={"coefficient_of_variation": 0.1})
    packed = pack(file.case, CONFIGS)
    assert packed.model.gas.shares.size == 0
    assert len(with_variation(packed, file.case.run).model.gas.shares) > 10
