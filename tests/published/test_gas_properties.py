"""Species, fuels and hot products against an independent gas library and handbook values.

Reference: Cantera (open-source library of gas thermodynamics) with its own copy of the NASA polynomials; agreement is
to the rounding of both, 1e-6.
"""

from __future__ import annotations

import cantera
import numpy as np
import pytest

from vibsim.engine.equilibrium import PRODUCTS, equilibrium
from vibsim.engine.fuels import AIR, FUELS, fuel_named
from vibsim.engine.gas_tables import energies, gas_tables
from vibsim.engine.species import SPECIES, enthalpy, entropy, heat_capacity
from vibsim.inputs.errors import InputError

THEIRS = {"ethanol": "C2H5OH", "isooctane": "C8H18,isooctane", "octane": "C8H18,n-octane", "toluene": "C7H8"}
LIBRARY = {species.name: species for species in cantera.Species.list_from_file("nasa_gas.yaml")}


def solution(names):
    return cantera.Solution(thermo="ideal-gas", species=[LIBRARY[THEIRS.get(name, name)] for name in names])


@pytest.mark.parametrize("name", SPECIES)
def test_species(name):
    gas = solution([name])
    for temperature in (250.0, 900.0, 1500.0, 3200.0):
        gas.TP = temperature, 101325.0
        at = np.array([temperature])
        assert heat_capacity(name, at)[0] == pytest.approx(gas.cp_mole * 1e-3, rel=1e-6)
        assert enthalpy(name, at)[0] == pytest.approx(gas.enthalpy_mole * 1e-3, rel=1e-6, abs=1e-2)
        assert entropy(name, at)[0] == pytest.approx(gas.entropy_mole * 1e-3, rel=1e-6)


@pytest.mark.parametrize("richness", [0.5, 1.0, 1.3])
@pytest.mark.parametrize(("temperature", "pressure"), [(1200.0, 1e5), (2000.0, 30e5), (2600.0, 80e5), (3500.0, 1e5)])
def test_equilibrium(richness, temperature, pressure):
    oxygen = 25.0 / richness
    elements = np.array([8.0, 18.0, oxygen, 3.727 * oxygen, 0.022 * oxygen])
    gas = solution(PRODUCTS)
    spare = oxygen - 25.0
    start = [8.0, 9.0, 0.0, 0.0, spare / 2.0] if spare >= 0.0 else [8.0 + spare, 9.0, -spare, 0.0, 0.0]
    gas.TPX = temperature, pressure, [*start, 0.0, 0.0, 0.0, 0.0, elements[3] / 2.0, elements[4]]
    gas.equilibrate("TP")
    moles = equilibrium(elements, np.array([temperature]), pressure)[0]
    assert moles / moles.sum() == pytest.approx(gas.X, abs=1e-8)


def test_fuels_are_what_handbooks_say():
    """Heywood 1988, app. D (from memory): petrol 44.0 MJ/kg at 14.6 and ethanol 26.9 at 9.0; isooctane 15.1 : 1, 44.3.
    EN 228 petrols lie between 42 and 44 MJ/kg (common practice, no source)."""
    petrol, ethanol = FUELS["petrol"], FUELS["ethanol"]
    assert petrol.air_needed == pytest.approx(14.6, abs=0.1)
    assert 42.0e6 < petrol.heating_value < 44.0e6
    assert ethanol.air_needed == pytest.approx(9.0, abs=0.05)
    assert ethanol.heating_value == pytest.approx(26.9e6, rel=0.01)
    assert 42.0e6 < FUELS["diesel"].heating_value < 44.0e6


def test_heating_value_against_the_library():
    """Of the vapour, from the library's enthalpies."""
    petrol = FUELS["petrol"]
    gas = solution(["isooctane", "toluene", "O2", "CO2", "H2O"])
    gas.TPX = 298.15, 101325.0, {THEIRS["isooctane"]: 0.65, "C7H8": 0.35}
    fuel = gas.enthalpy_mole * 1e-3
    gas.TPX = 298.15, 101325.0, {"CO2": petrol.atoms("C"), "H2O": petrol.atoms("H") / 2.0}
    burnt = gas.enthalpy_mole * 1e-3 * (petrol.atoms("C") + petrol.atoms("H") / 2.0)
    assert petrol.heating_value + petrol.evaporation == pytest.approx((fuel - burnt) / petrol.molar_mass, rel=1e-6)


def test_a_blend_lies_between():
    petrol, blend, ethanol = FUELS["petrol"], fuel_named("petrol", 0.1), FUELS["ethanol"]
    assert ethanol.heating_value < blend.heating_value < petrol.heating_value
    assert blend.density == pytest.approx(0.9 * 745.0 + 0.1 * 789.0)
    with pytest.raises(InputError, match=r'ethanol_share: got 0\.2; goes with fuel = "petrol"'):
        fuel_named("diesel", 0.2)


@pytest.mark.parametrize("richness", [0.6, 1.0, 1.2])
def test_tables_against_the_library(richness):
    """Energy between nodes: linear heat capacity over 25 K leaves 1e-4 of cv·T where the capacity bends."""
    fuel = FUELS["petrol"]
    tables = gas_tables(tuple(fuel.parts.items()), fuel.evaporation, richness, 1)
    air = solution(AIR)
    products = solution(PRODUCTS)
    burning = max(richness, 1.0)
    oxygen = 2.0 * fuel.oxygen_needed / burning
    for temperature in (310.0, 811.0, 1333.0, 1955.0, 2477.0):
        found = energies(temperature, tables)
        air.TPX = temperature, 1e5, AIR
        assert found[0] == pytest.approx(air.int_energy_mass, rel=2e-4, abs=50.0)
        assert found[1] == pytest.approx(air.cv_mass, rel=1e-3)
        hot = max(temperature, 1600.0)
        elements = np.array(
            [
                fuel.atoms("C"),
                fuel.atoms("H"),
                oxygen,
                oxygen * AIR["N2"] / AIR["O2"],
                0.5 * oxygen * AIR["Ar"] / AIR["O2"],
            ]
        )
        pressure = 20e5 * (hot / 2600.0) ** 4.7
        products.TPX = temperature, pressure, equilibrium(elements, np.array([hot]), pressure)[0]
        assert found[4] == pytest.approx(products.int_energy_mass, abs=2e-4 * 3e6)
        assert found[6] == pytest.approx(cantera.gas_constant / products.mean_molecular_weight, rel=1e-4)


def test_burning_at_constant_volume_gives_the_heating_value():
    """Energy is conserved by changing substance: at 298 K the products hold less by the heating value (less the work of
    the gas that forms, a per cent)."""
    fuel = FUELS["petrol"]
    tables = gas_tables(tuple(fuel.parts.items()), fuel.evaporation, 1.0, 1)
    u_air, _, u_fuel, _, u_products, *_ = energies(298.15, tables)
    released = u_fuel + tables.air_per_fuel * u_air - (1.0 + tables.air_per_fuel) * u_products
    assert released == pytest.approx(fuel.heating_value + fuel.evaporation, rel=0.01)
