"""Compression and burning in the cylinder against an independent gas library (Cantera) with the same mixture."""

from __future__ import annotations

import math
from functools import cache

import cantera
import numpy as np
import pytest

from tests.gas_cases import engine_with
from tests.published.test_gas_properties import THEIRS, solution
from vibsim.engine.cycle import Cycle, solve_at
from vibsim.engine.cycle_setup import conditions_of, cycle_gas, fuel_of
from vibsim.engine.equilibrium import PRODUCTS
from vibsim.engine.fuels import AIR, Fuel
from vibsim.engine.gas_tables import FROZEN, R_PRODUCTS, product_moles
from vibsim.engine.knock import end_gas
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.species import GAS_CONSTANT, SPECIES
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.models import Engine

FINER = 8  # cells of a quarter of a degree
FUELS = {
    "petrol": {},
    "rich petrol": {"air_fuel_ratio": 12.0},
    "lean petrol": {"air_fuel_ratio": 20.0},
    "blend": {"ethanol_share": 0.3},
    "ethanol": {"fuel": "ethanol"},
}


@cache
def adiabatic(name: str, duration: float = 0.5) -> tuple[Engine, ResolvedCylinder, Cycle]:
    """No heat to the walls, all burning about the top within half a degree."""
    burn = {"burn_start_deg": -0.5 * duration, "burn_duration_deg": duration, "combustion_efficiency": 1.0}
    engine, cylinder = engine_with(FUELS[name] | burn | {"wall_heat_factor": 0.0})
    return engine, cylinder, solve_at(engine, cylinder, conditions_of(engine, 300.0, 0.7), FINER)


def species_of(fuel: Fuel) -> list[str]:
    return list(dict.fromkeys([*AIR, *fuel.parts, *PRODUCTS]))


def moles_of(engine: Engine, cycle: Cycle) -> dict[str, float]:
    """Moles of each species in the trapped charge: air, fuel vapour and burnt gas of the engine's own richness."""
    fuel = fuel_of(cycle_gas(engine))
    richness = fuel.air_needed / (cycle_gas(engine).air_fuel_ratio or fuel.air_needed)
    burnt = burnt_moles(fuel, max(round(richness, 4), 1.0), cycle)
    parts = [
        (cycle.trapped_air, AIR),
        (cycle.trapped_fuel, fuel.parts),
        (cycle.residual_share * cycle.trapped_mass, dict(zip(PRODUCTS, burnt, strict=True))),
    ]
    found: dict[str, float] = {}
    for mass, shares in parts:
        gas = solution(list(shares))
        gas.X = list(shares.values())
        scale = mass / gas.mean_molecular_weight / sum(shares.values())
        for name, share in shares.items():
            found[name] = found.get(name, 0.0) + scale * share
    return found


def burnt_moles(fuel: Fuel, richness: float, cycle: Cycle) -> np.ndarray:
    """Of the cold products in the two tables that the cycle's lie between, by its gas constant."""
    masses = np.array([SPECIES[name].molar_mass for name in PRODUCTS])
    cold = [product_moles(fuel, richness, np.array([FROZEN]), level)[0] for level in range(-1, 6)]
    cold = [moles / (moles @ masses) for moles in cold]
    constants = np.array([GAS_CONSTANT * moles.sum() for moles in cold])
    place = np.interp(-cycle.gas.table[0, R_PRODUCTS], -constants, np.arange(len(cold)))
    low = min(int(place), len(cold) - 2)
    return cold[low] + (place - low) * (cold[low + 1] - cold[low])


def charge(engine: Engine, cycle: Cycle) -> cantera.Solution:
    """The trapped charge where the valves have shut."""
    gas = solution(species_of(fuel_of(cycle_gas(engine))))
    moles = {THEIRS.get(name, name): amount for name, amount in moles_of(engine, cycle).items()}
    gas.TPX = cycle.trapped_temperature, cycle.trapped_pressure, [moles.get(name, 0.0) for name in gas.species_names]
    return gas


@pytest.mark.parametrize("name", FUELS)
def test_compression(name: str) -> None:
    """Isentropic, of fresh charge and burnt gas together."""
    engine, cylinder, cycle = adiabatic(name)
    gas = charge(engine, cycle)
    shut = cylinder_volume(cylinder, np.array([cycle.valves_shut]))[0][0]
    # tables take heat capacities linear over 25 K: 2e-5 of the temperature; shares of air and so on closed to 1e-6
    assert cycle.trapped_mass == pytest.approx(gas.density * shut, rel=1e-5)
    entropy = gas.entropy_mass
    for degrees in (660.0, 700.0, 719.0):
        point = round(degrees / 2.0 * FINER)
        gas.SV = entropy, cylinder_volume(cylinder, cycle.angle[[point]])[0][0] / cycle.trapped_mass
        assert cycle.temperature[point] == pytest.approx(gas.T, rel=1e-4)
        assert cycle.pressure[point] == pytest.approx(gas.P, rel=1e-4)


@pytest.mark.parametrize("name", FUELS)
def test_burning_at_constant_volume(name: str) -> None:
    """Against equilibrium at the same energy and volume. Products are tabled in equilibrium at a pressure near that of
    the moment, and what air is over stays air: stated as about a per cent of the heat released, which is the rise."""
    engine, cylinder, cycle = adiabatic(name)
    gas = charge(engine, cycle)
    gas.SV = gas.entropy_mass, cylinder.clearance_volume / cycle.trapped_mass
    compressed = gas.T
    gas.equilibrate("UV", rtol=1e-8)
    point = 2  # half a degree past the top: the last cell of the burn is done
    error = 0.015 if name == "lean petrol" else 0.006
    assert cycle.temperature[point] - compressed == pytest.approx(gas.T - compressed, rel=error)
    assert cycle.pressure[point] == pytest.approx(gas.P, rel=7e-3)


def test_end_gas_is_compressed_isentropically() -> None:
    """Of the real cycle, by pressure, from where the valves shut."""
    engine, cylinder = engine_with({})
    cycle = solve_at(engine, cylinder, conditions_of(engine, 300.0, 1.0))
    gas = charge(engine, cycle)
    entropy = gas.entropy_mass
    _, pressure, temperature = end_gas(cycle)
    for n in (0, 150, 250, 399):
        gas.SP = entropy, cycle.trapped_pressure * pressure[n] / pressure[0]
        # entropies interpolated between nodes 25 K apart
        assert temperature[n] == pytest.approx(gas.T, rel=2e-4)
    assert pressure[0] == pytest.approx(cycle.trapped_pressure, rel=1e-3)
    assert math.isclose(pressure.max(), cycle.peak_pressure, rel_tol=2e-3)
