"""The working cycle in its limits: Otto, Diesel and Seiliger cycles, adiabatic, one ideal gas, burning as they say.

The valves move at the dead centres, so that the closed part of the cycle runs from bottom to bottom.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.gas_cases import engine_with, ideal_gas
from vibsim.engine.burn import POINTS
from vibsim.engine.cycle import Cycle, collect, solve_at
from vibsim.engine.cycle_setup import conditions_of, cycle_model
from vibsim.engine.cycle_solver import RepeatedCycle
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume

GAS_CONSTANT = 287.0
SLOW = 20.0  # rad/s
FINER = 16  # cells of an eighth of a degree, so that a burn of a quarter of a degree about the top lasts two
OTTO = [
    (8.0, 1.4, 0.564725),
    (10.0, 1.4, 0.601893),
    (12.0, 1.4, 0.629893),
    (8.0, 1.3, 0.464113),
    (10.0, 1.3, 0.498813),
    (12.0, 1.3, 0.525490),
]


@cache
def otto(ratio: float, gamma: float) -> tuple[Cycle, ResolvedCylinder]:
    engine, cylinder = engine_with(ideal_gas(gamma), compression_ratio=ratio)
    return solve_at(engine, cylinder, conditions_of(engine, SLOW, 1.0), FINER), cylinder


@pytest.mark.parametrize(("ratio", "gamma", "expected"), OTTO)
def test_otto_efficiency(ratio: float, gamma: float, expected: float) -> None:
    """Closed part of the cycle against 1 − r^(1 − γ). Source: derived (formula P-, from memory)."""
    # two eighths of a degree about the top: the volume is 5e-6 of the clearance greater on average
    cycle, cylinder = otto(ratio, gamma)
    assert cycle.gross_work / cycle.fuel_heat == pytest.approx(expected, abs=1e-5)
    # mean pressure p·r/(r − 1)·(α − 1)·(r^(γ−1) − 1)/(γ − 1), α the rise of pressure (textbooks, from memory)
    rise = cycle.fuel_heat * (gamma - 1.0) / (cycle.trapped_pressure * ratio**gamma * cylinder.clearance_volume)
    imep = cycle.trapped_pressure * ratio / (ratio - 1.0) * rise * (ratio ** (gamma - 1.0) - 1.0) / (gamma - 1.0)
    assert cycle.gross_mean_pressure == pytest.approx(imep, rel=1e-4)


@pytest.mark.parametrize(("ratio", "gamma", "expected"), [(8.0, 1.4, 0.564725), (12.0, 1.3, 0.525490)])
def test_otto_efficiency_with_gas_exchange(ratio: float, gamma: float, expected: float) -> None:
    """The whole cycle with intake and exhaust at one pressure. Source: derived (formula P-, from memory)."""
    # pushing gas through valves costs what the ideal cycle does not have: 0.5 % of the work at this speed
    found = otto(ratio, gamma)[0].efficiency
    assert found < expected
    assert found == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("before_top", [135.0, 80.0, 30.0, 0.25])
def test_compression_is_isentropic(before_top: float) -> None:
    """T·V^(γ−1) and p·V^γ keep. Source: derived (300 K, r 8, γ 1.4 gives 689.219 K at the end)."""
    cycle, cylinder = otto(8.0, 1.4)
    first, point = (round((720.0 - angle) * FINER / 2.0) for angle in (180.0, before_top))
    volume = cylinder_volume(cylinder, cycle.angle[[first, point]])[0]
    ratio = volume[0] / volume[1]
    # third-order steps of 1/8 degree, some 1e-12 each; cubic volumes between
    assert cycle.temperature[point] / cycle.temperature[first] == pytest.approx(ratio**0.4, rel=1e-8)
    assert cycle.pressure[point] / cycle.pressure[first] == pytest.approx(ratio**1.4, rel=1e-8)


def textbook_otto() -> tuple[Cycle, float]:
    """The closed part from 1 bar, 290 K and 400 cm³ at r 8 to 2200 K; intake and fuel adjusted to give those."""
    gamma, swept = 1.0 + 0.287 / 0.718, 350e-6
    bore = 2e3 * math.sqrt(swept / 0.0585 / math.pi)
    intake, pressure, ratio = 270.0, 100.0, 60.0
    for _ in range(8):
        changes = {"intake_temperature_K": intake, "intake_pressure_kPa": pressure, "air_fuel_ratio": ratio}
        engine, cylinder = engine_with(ideal_gas(gamma, **changes), compression_ratio=8.0, bore_mm=bore)
        cycle = solve_at(engine, cylinder, conditions_of(engine, SLOW, 1.0), FINER)
        intake *= 290.0 / cycle.trapped_temperature
        pressure *= 1e5 / cycle.trapped_pressure
        rise = 2200.0 - 290.0 * 8.0 ** (gamma - 1.0)
        ratio = (ratio + 1.0) * (cycle.temperature.max() - 2200.0 + rise) / rise - 1.0
    assert [cycle.trapped_temperature, cycle.trapped_pressure] == pytest.approx([290.0, 1e5], rel=1e-4)
    assert cycle.temperature.max() == pytest.approx(2200.0, rel=1e-4)
    return cycle, gamma


def test_textbook_otto_problem() -> None:
    """Heat, net work, efficiency and mean pressure. Source: Moran & Shapiro problem (answers P+, inputs P-)."""
    cycle, _ = textbook_otto()
    work = cycle.gross_work
    found = [cycle.fuel_heat, work, work / cycle.fuel_heat, 1e-5 * work / 350e-6]
    assert found == pytest.approx([529.3, 298.9, 0.5647, 8.540], rel=1e-3)  # as stated with the answers


def seiliger_efficiency(ratio: float, gamma: float, rise: float, cutoff: float) -> float:
    """1 − (α·ρ^γ − 1)/((α − 1) + γ·α·(ρ − 1))/r^(γ−1); Diesel's at α = 1, Otto's at ρ = 1 (textbooks, from memory)."""
    added = rise - 1.0 + gamma * rise * (cutoff - 1.0)
    return 1.0 - (rise * cutoff**gamma - 1.0) / added / ratio ** (gamma - 1.0)


def seiliger(ratio: float, gamma: float, rise: float, cutoff: float) -> tuple[Cycle, float]:
    """A cycle whose burn raises the pressure `rise` times at the top, then holds it till `cutoff` clearance volumes;
    and its heat. The heating value is adjusted to the charge."""
    heating = 20.0
    for _ in range(5):
        gas = ideal_gas(gamma, lower_heating_value_MJ_per_kg=heating, intake_temperature_K=300.0)
        engine, cylinder = engine_with(gas, compression_ratio=ratio)
        at = conditions_of(engine, SLOW, 1.0)
        end = brentq(_beyond, 0.0, 3.0, args=(cylinder, cutoff))
        share = (rise - 1.0) / (rise - 1.0 + gamma * rise * (cutoff - 1.0))
        grown = _clearances(cylinder, np.linspace(0.0, end, POINTS)) - 1.0
        table = np.where(grown > 0.0, share + (1.0 - share) * grown / (cutoff - 1.0), 0.0)
        model = cycle_model(engine, cylinder, at, 2 * FINER)
        model = model._replace(burn_table=table, burn_start=0.0, burn_span=end, burnable=1.0)
        repeated = RepeatedCycle(model)
        repeated.converge()
        cycle = collect(engine, repeated, at)
        top = cycle.trapped_temperature * ratio ** (gamma - 1.0)
        capacity = cycle.trapped_mass * GAS_CONSTANT / (gamma - 1.0)
        wanted = capacity * top * (rise - 1.0 + gamma * rise * (cutoff - 1.0))
        heating *= wanted / cycle.fuel_heat
    assert cycle.fuel_heat == pytest.approx(wanted, rel=1e-5)
    return cycle, end


def _beyond(angle: float, cylinder: ResolvedCylinder, cutoff: float) -> float:
    return float(_clearances(cylinder, angle) - cutoff)


def _clearances(cylinder: ResolvedCylinder, angle):
    return cylinder_volume(cylinder, np.asarray(angle))[0] / cylinder.clearance_volume


@pytest.mark.parametrize(
    ("ratio", "gamma", "rise", "cutoff"),
    [(18.0, 1.4, 1.0, 2.0), (16.0, 1.35, 1.0, 2.5), (14.0, 1.4, 1.5, 1.6), (12.0, 1.3, 2.0, 1.3)],
)
def test_diesel_and_seiliger(ratio: float, gamma: float, rise: float, cutoff: float) -> None:
    """Efficiency and mean pressure of cycles that burn at constant pressure, in part or in all."""
    cycle, end = seiliger(ratio, gamma, rise, cutoff)
    expected = seiliger_efficiency(ratio, gamma, rise, cutoff)
    # the burn's part at the top is spread over a cell of 1/16 degree, the rest drawn by 1024 lines
    assert cycle.gross_work / cycle.fuel_heat == pytest.approx(expected, rel=1e-4)
    assert cycle.gross_mean_pressure == pytest.approx(expected * cycle.fuel_heat / cycle.swept_volume, rel=1e-4)
    burning = cycle.pressure[2 : int(end / cycle.angle[1])]
    assert np.ptp(burning) / burning.mean() < 1e-3
    assert burning.mean() == pytest.approx(rise * cycle.trapped_pressure * ratio**gamma, rel=1e-3)


def test_known_ideal_efficiencies() -> None:
    """The formula itself: Diesel r 18, γ 1.4, cut-off 2: 0.6316 (Cengel & Boles, example, from memory); Otto's."""
    assert seiliger_efficiency(18.0, 1.4, 1.0, 2.0) == pytest.approx(0.6316, abs=5e-5)
    assert seiliger_efficiency(8.0, 1.4, 3.0, 1.0) == pytest.approx(0.564725, abs=1e-6)
