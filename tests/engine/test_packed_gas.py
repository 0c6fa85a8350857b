"""Cylinder pressure between nodes and between cycles: nodes are met, nothing jumps, shares are what they say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.cases import CONFIGS, single
from vibsim.engine.cycle import solve_at
from vibsim.engine.cycle_setup import Conditions, conditions_of
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.node_grid import Nodes
from vibsim.engine.packed_gas import BLEND, Gas, cylinder_pressure, cylinder_pressures
from vibsim.engine.pressure import Operating, pack_gas, pack_gas_nodes
from vibsim.engine.variation import with_shares
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Engine

SPEEDS, INTAKES, EXHAUSTS = np.array([150.0, 300.0, 450.0]), np.array([5e4, 9e4]), np.array([1.0e5, 1.3e5])
CYCLE = 4.0 * math.pi
ANGLE = np.linspace(0.0, CYCLE, 721)[:-1]
HERE = Operating(300.0, 0.5, CONFIGS)


def petrol(**engine) -> tuple[Engine, Layout]:
    raw = single()
    raw["engine"] |= {"gas": {"source": "cycle"}, **engine}
    found = build_case(raw).engine
    assert found is not None
    return found, resolve_layout(found)


@pytest.fixture(scope="module")
def grid() -> Gas:
    engine, layout = petrol()
    nodes, base = Nodes(SPEEDS, INTAKES, EXHAUSTS), conditions_of(engine, HERE.speed, HERE.load)
    points = [
        replace(base, speed=speed, intake_pressure=intake, exhaust_pressure=exhaust)
        for speed in SPEEDS
        for intake in INTAKES
        for exhaust in EXHAUSTS
    ]
    return pack_gas_nodes(engine, layout, [Operating(at.speed, 0.5, CONFIGS, at) for at in points], nodes)


@pytest.fixture(scope="module")
def pair() -> Gas:
    """One node, with the unfired cylinder."""
    return pack_gas(*petrol(), [HERE], partner=True)


def test_nodes_are_met(grid: Gas) -> None:
    """Law: at a node the pressure is that of a cycle solved there."""
    engine, layout = petrol()
    assert grid.coefficients.shape == (1, 360, 12, 4)
    for node in ((300.0, 5e4, 1.3e5), (450.0, 9e4, 1.0e5)):
        at = Conditions(node[0], node[1], engine.gas.intake_temperature, node[2])
        cycle = solve_at(engine, layout.cylinders[0], at)
        found = cylinder_pressures(cycle.angle[:-1], node[0], grid._replace(intake=node[1], exhaust=node[2]))[:, 0]
        np.testing.assert_allclose(found, cycle.pressure[:-1], rtol=1e-11)


def test_constants_hold_where_no_state_gives_them(pair: Gas) -> None:
    """Law: the gas's own intake and exhaust pressure are those of the load it was packed at."""
    engine, _ = petrol()
    assert pair.exhaust == engine.gas.exhaust_pressure
    low = engine.gas.closed_throttle_pressure
    assert pair.intake == pytest.approx(low + 0.5 * (engine.gas.ambient_pressure - low), rel=1e-14)


def test_pressure_has_no_kink_at_a_node_of_speed(grid: Gas) -> None:
    """Law: slopes on both sides of a node agree; differences of 1e-3 rad/s leave that share of the curvature."""
    for at in ANGLE[::40]:
        here = cylinder_pressure(0, at, 300.0, grid)
        low, high = (cylinder_pressure(0, at, 300.0 + h, grid) - here for h in (-1e-3, 1e-3))
        assert (high + low) / 1e-3 == pytest.approx(0.0, abs=1e-4 * abs(here) / 150.0 + 0.01)


def test_share_one_and_none_and_nothing(pair: Gas) -> None:
    """Law: all of the burning is the plain cycle to the last bit, none of it the unfired one."""
    angle = np.linspace(-9.0, 60.0, 997)
    plain, unfired = cylinder_pressures(angle, 300.0, pair), pair._replace(coefficients=pair.unfired)
    np.testing.assert_array_equal(cylinder_pressures(angle, 300.0, with_shares(pair, np.ones((3, 1)))), plain)
    none = cylinder_pressures(angle, 300.0, with_shares(pair, np.zeros((3, 1))))
    np.testing.assert_array_equal(none, cylinder_pressures(angle, 300.0, unfired))
    assert plain.max() > 1.5 * none.max()


def test_unfired_is_the_cycle_without_fuel(pair: Gas) -> None:
    """Law: the same conditions, nothing burned, is what the cycle gives with the fuel cut."""
    engine, layout = petrol(gas={"source": "cycle", "fuel_cut": True})
    cut = pack_gas(engine, layout, [HERE])
    assert cut.intake == pair.intake
    np.testing.assert_allclose(pair.unfired, cut.coefficients, rtol=1e-12, atol=1e-3)


def test_cylinders_that_burn_otherwise_have_their_own_curve() -> None:
    """Law: fuelling and a shifted burn make another cylinder of the same build."""
    raw = single()
    raw["engine"] |= {"gas": {"source": "cycle"}, "firing_order": ["1", "2", "3"]}
    cylinders = [{"name": str(n), "pin_deg": 240.0 * n, "at_mm": 90.0 * n} for n in (1, 2, 3)]
    cylinders[1]["fuelling"] = 0.0
    cylinders[2]["burn_shift_deg"] = 10.0
    raw["engine"]["cylinder"] = cylinders
    engine = build_case(raw).engine
    assert engine is not None
    gas = pack_gas(engine, resolve_layout(engine), [HERE])
    firing = gas.charges["firing"]
    peaks = [cylinder_pressures(at + ANGLE, 300.0, gas)[:, i].max() for i, at in enumerate(firing)]
    assert peaks[1] < peaks[2] < peaks[0]


def test_shares_pass_without_a_kink(pair: Gas) -> None:
    """Law: over three cycles values and slopes of the pressure differ from those of one share by no jump: at the ends
    of a passage differences on both sides agree."""
    shares = np.array([[1.0], [0.2], [1.4]])
    gas = with_shares(pair, shares)
    begins = float(gas.charges["begins"][0])
    for edge in (begins + CYCLE * (1.0 + d) for d in (-BLEND, 0.0, BLEND)):
        h = 1e-5
        values = [cylinder_pressure(0, edge + k * h, 300.0, gas) for k in (-2, -1, 0, 1, 2)]
        slope = max(abs(values[4] - values[0]) / (4 * h), 1e3)
        assert abs((values[3] - values[2]) - (values[2] - values[1])) / h == pytest.approx(0.0, abs=1e-2 * slope)


def test_rows_begin_and_repeat_as_said(pair: Gas) -> None:
    """Law: row by row from the first dead centre of gas exchange after zero; after the last row comes the first."""
    shares = np.array([[1.0], [0.2], [0.7]])
    gas = with_shares(pair, shares)
    firing = float(gas.charges["firing"][0])
    assert gas.charges["begins"][0] == pytest.approx(firing + 0.5 * CYCLE)
    after = firing + CYCLE + 0.3
    plain = cylinder_pressure(0, after, 300.0, pair)
    unfired = cylinder_pressure(0, after, 300.0, pair._replace(coefficients=pair.unfired))
    for n in range(7):
        expected = unfired + shares[n % 3, 0] * (plain - unfired)
        assert cylinder_pressure(0, after + n * CYCLE, 300.0, gas) == pytest.approx(expected, rel=1e-9)
