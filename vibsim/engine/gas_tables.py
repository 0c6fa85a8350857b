"""Internal energy of what is in a cylinder, as tables over temperature that kernels read.

Three substances: air, fuel vapour, and the products of their burning at the mixture's own richness (never leaner than
stoichiometric: what air is over stays air). Energies hold the heat of formation, so burning is a change of substance
and needs no heating value. Products are in equilibrium above 1600 K, at pressures that fall with the temperature as
they do in expansion from a `hot` pressure at 2600 K, and frozen below: against equilibrium at the pressure of the
moment that is good to about a per cent of the heat released (tests/references/test_cycle_gas.py).
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from vibsim.engine.equilibrium import ELEMENTS, PRODUCTS, equilibrium
from vibsim.engine.fuels import AIR, Fuel, air_molar_mass
from vibsim.engine.species import GAS_CONSTANT, REFERENCE, SPECIES, enthalpy
from vibsim.jit import inlined

COLDEST, STEP, NODES = 200.0, 25.0, 153  # up to 4000 K
FROZEN = 1600.0  # K
HOT, EXPANSION = 2600.0, 4.7  # K; power of T that p goes with in expansion, n/(n − 1) of a polytropic n of 1.27
LEVEL = 10e5  # Pa, hot pressure of tables at level 0; each level doubles it
SLOPE = 0.5  # K, for heat capacities along the equilibrium
# columns of the table
U_AIR, C_AIR, U_FUEL, C_FUEL, U_PRODUCTS, C_PRODUCTS, R_PRODUCTS = range(7)


class GasTables(NamedTuple):
    """`table` (nodes, 7): internal energy (J/kg) and heat capacity at constant volume (J/kg/K) of air, fuel vapour and
    products, gas constant of the products; `air_per_fuel` kg of air that one kg of fuel turns into products with;
    `liquid` enthalpy of the liquid fuel at 298 K, J/kg."""

    table: np.ndarray
    r_air: float
    r_fuel: float
    air_per_fuel: float
    liquid: float


@inlined
def energies(temperature, gas):
    """(u, cv) of air, fuel vapour and products, gas constant of products and its slope, at a temperature (K)."""
    share = min(max((temperature - COLDEST) * (1.0 / STEP), 0.0), NODES - 1.001)
    node = int(share)
    rest, part = (share - node) * STEP, share - node
    t = gas.table
    rise = (t[node + 1, C_AIR] - t[node, C_AIR]) * part
    u_air, c_air = t[node, U_AIR] + rest * (t[node, C_AIR] + 0.5 * rise), t[node, C_AIR] + rise
    rise = (t[node + 1, C_FUEL] - t[node, C_FUEL]) * part
    u_fuel, c_fuel = t[node, U_FUEL] + rest * (t[node, C_FUEL] + 0.5 * rise), t[node, C_FUEL] + rise
    rise = (t[node + 1, C_PRODUCTS] - t[node, C_PRODUCTS]) * part
    u_products = t[node, U_PRODUCTS] + rest * (t[node, C_PRODUCTS] + 0.5 * rise)
    slope = (t[node + 1, R_PRODUCTS] - t[node, R_PRODUCTS]) * (1.0 / STEP)
    return (
        u_air, c_air, u_fuel, c_fuel, u_products, t[node, C_PRODUCTS] + rise, t[node, R_PRODUCTS] + slope * rest, slope
    )  # fmt: skip


@lru_cache(maxsize=64)
def gas_tables(parts: tuple[tuple[str, float], ...], evaporation: float, richness: float, level: int) -> GasTables:
    """Tables of a fuel given by its mole shares, burning at an equivalence ratio and a level of pressure."""
    fuel = Fuel(dict(parts), 1.0, evaporation)
    burning = max(richness, 1.0)
    temperature = COLDEST + STEP * np.arange(NODES)
    table = np.empty((NODES, 7))
    table[:, U_AIR : C_AIR + 1] = _mixture(AIR, temperature)
    table[:, U_FUEL : C_FUEL + 1] = _mixture(fuel.parts, temperature)
    energy, r_products = _products(fuel, burning, temperature, level)
    table[:, U_PRODUCTS], table[:, R_PRODUCTS] = energy, r_products
    warmer, colder = (_products(fuel, burning, temperature + by, level)[0] for by in (SLOPE, -SLOPE))
    table[:, C_PRODUCTS] = (warmer - colder) / (2.0 * SLOPE)
    for u, c in ((U_AIR, C_AIR), (U_FUEL, C_FUEL), (U_PRODUCTS, C_PRODUCTS)):
        table[:, u] = _integrated(table[:, u], table[:, c])
    at = np.array([REFERENCE])
    vapour = sum(share * enthalpy(name, at)[0] for name, share in parts) / fuel.molar_mass
    return GasTables(
        table=table,
        r_air=GAS_CONSTANT / air_molar_mass(),
        r_fuel=GAS_CONSTANT / fuel.molar_mass,
        air_per_fuel=fuel.air_needed / burning,
        liquid=float(vapour) - evaporation,
    )


def tables_between(fuel: Fuel, richness: float, hot: float) -> GasTables:
    """Tables at a hot pressure (Pa), between those of the two levels next to it by its logarithm."""
    place = min(max(math.log2(hot / LEVEL), -3.0), 8.0)
    level = math.floor(place)
    lower, upper = (gas_tables(tuple(fuel.parts.items()), fuel.evaporation, richness, n) for n in (level, level + 1))
    return lower._replace(table=lower.table + (place - level) * (upper.table - lower.table))


def _mixture(parts: dict[str, float], temperature: np.ndarray) -> np.ndarray:
    """Internal energy and heat capacity (n, 2) per mass of an unchanging mixture."""

    def energy(t: np.ndarray) -> np.ndarray:
        moles = sum(share * (enthalpy(name, t) - GAS_CONSTANT * t) for name, share in parts.items())
        return np.asarray(moles) / sum(share * SPECIES[name].molar_mass for name, share in parts.items())

    slope = (energy(temperature + SLOPE) - energy(temperature - SLOPE)) / (2.0 * SLOPE)
    return np.column_stack([energy(temperature), slope])


def _products(fuel: Fuel, richness: float, temperature: np.ndarray, level: int) -> tuple[np.ndarray, np.ndarray]:
    """Internal energy (n) J/kg and gas constant (n) J/kg/K of the products."""
    moles = product_moles(fuel, richness, temperature, level)
    mass = moles @ np.array([SPECIES[name].molar_mass for name in PRODUCTS])
    molar = np.array([enthalpy(name, temperature) for name in PRODUCTS]).T - GAS_CONSTANT * temperature[:, None]
    return (moles * molar).sum(axis=1) / mass, GAS_CONSTANT * moles.sum(axis=1) / mass


def product_moles(fuel: Fuel, richness: float, temperature: np.ndarray, level: int) -> np.ndarray:
    """Moles of PRODUCTS (n, 11) from one mole of fuel at temperatures (n) K."""
    reacting = np.maximum(temperature, FROZEN)
    pressure = LEVEL * 2.0**level * (reacting / HOT) ** EXPANSION
    return equilibrium(product_elements(fuel, richness), reacting, pressure)


def product_elements(fuel: Fuel, richness: float) -> np.ndarray:
    """Moles of ELEMENTS (5) in one mole of fuel with the air it burns in."""
    oxygen = fuel.oxygen_needed / richness
    of_air = {"O": 2.0 * oxygen, "N": 2.0 * oxygen * AIR["N2"] / AIR["O2"], "Ar": oxygen * AIR["Ar"] / AIR["O2"]}
    return np.array([fuel.atoms(element) + of_air.get(element, 0.0) for element in ELEMENTS])


def _integrated(energy: np.ndarray, capacity: np.ndarray) -> np.ndarray:
    """Energies that are the integral of the capacities taken linear between nodes, right at the first node, so that
    energy and heat capacity never disagree."""
    rises = 0.5 * STEP * (capacity[1:] + capacity[:-1])
    return energy[0] + np.concatenate([[0.0], np.cumsum(rises)])


@lru_cache(maxsize=64)
def ideal_tables(constant: float, ratio: float, fall: float, heating: float, air_fuel_ratio: float) -> GasTables:
    """Tables of one ideal gas for air, fuel and products alike: a ratio of heat capacities at 300 K that falls linearly
    with temperature, γ = γ₀ − k·(T − 300 K) (Gatowski et al. 1984, SAE 841359, from memory); the fuel holds its heating
    value (J/kg), as a liquid too."""
    temperature = COLDEST + STEP * np.arange(NODES)
    capacity = constant / np.maximum(ratio - fall * (temperature - 300.0) - 1.0, 0.05)
    energy = _integrated(np.zeros(NODES), capacity)
    table = np.column_stack([energy, capacity, energy + heating, capacity, energy, capacity, np.full(NODES, constant)])
    entering = float(np.interp(REFERENCE, temperature, energy)) + constant * REFERENCE
    return GasTables(table, constant, constant, air_fuel_ratio, heating + entering)
