"""Fuels: what they are made of, and what follows from it: air needed, heating value, charge cooling, knock and delay.

Each stands for a real fuel by a mixture of species with known thermodynamics. Densities and octane or cetane numbers
are the middle of EN 228 and EN 590 (from memory); heats of evaporation at 298 K of the pure substances (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from vibsim.engine.species import REFERENCE, SPECIES, enthalpy
from vibsim.inputs.errors import InputError

AIR = {"N2": 0.7808, "O2": 0.2095, "Ar": 0.0097}  # dry, mole shares; carbon dioxide counted with argon


@dataclass(frozen=True)
class Fuel:
    """Mole shares of species; liquid density kg/m³, heat of evaporation J/kg; research octane number if lit by a spark,
    cetane number if by compression (0 if it does not serve that way)."""

    parts: dict[str, float]
    density: float
    evaporation: float
    octane: float = 0.0
    cetane: float = 0.0

    @cached_property
    def molar_mass(self) -> float:
        """kg/mol."""
        return sum(share * SPECIES[name].molar_mass for name, share in self.parts.items())

    def atoms(self, element: str) -> float:
        """Atoms of an element per molecule."""
        return sum(share * SPECIES[name].atoms.get(element, 0) for name, share in self.parts.items())

    @cached_property
    def oxygen_needed(self) -> float:
        """Moles of O2 that burn one mole: C + H/4 − O/2."""
        return self.atoms("C") + 0.25 * self.atoms("H") - 0.5 * self.atoms("O")

    @cached_property
    def air_needed(self) -> float:
        """Stoichiometric air–fuel ratio by mass."""
        return self.oxygen_needed / AIR["O2"] * air_molar_mass() / self.molar_mass

    @cached_property
    def heating_value(self) -> float:
        """Lower heating value of the liquid at 298 K, J/kg, from the enthalpies of formation."""
        at = np.array([REFERENCE])
        fuel = sum(share * enthalpy(name, at)[0] for name, share in self.parts.items())
        burnt = self.atoms("C") * enthalpy("CO2", at)[0] + 0.5 * self.atoms("H") * enthalpy("H2O", at)[0]
        return float((fuel - burnt) / self.molar_mass) - self.evaporation


FUELS = {
    "petrol": Fuel({"isooctane": 0.65, "toluene": 0.35}, 745.0, 350e3, octane=95.0),
    "ethanol": Fuel({"ethanol": 1.0}, 789.0, 920e3, octane=108.0),
    "diesel": Fuel({"octane": 0.65, "toluene": 0.35}, 835.0, 270e3, cetane=51.0),
}


def air_molar_mass() -> float:
    """Of dry air, kg/mol."""
    return sum(share * SPECIES[name].molar_mass for name, share in AIR.items())


@lru_cache
def fuel_named(name: str, ethanol_share: float = 0.0) -> Fuel:
    """A fuel by name, petrol with a share of ethanol by volume.

    Densities, heats and masses mix by mass or volume as they are; octane numbers by moles (Anderson et al. 2010, from
    memory). Raises InputError for ethanol in anything but petrol.
    """
    fuel = FUELS[name]
    if ethanol_share == 0.0:
        return fuel
    if name != "petrol":
        raise InputError(f"engine.gas.ethanol_share: got {ethanol_share:g}; goes with fuel = \"petrol\", got '{name}'")
    ethanol = FUELS["ethanol"]
    of_petrol = (1.0 - ethanol_share) * fuel.density / fuel.molar_mass  # mol/m³
    of_ethanol = ethanol_share * ethanol.density / ethanol.molar_mass
    share = of_ethanol / (of_petrol + of_ethanol)
    parts = {one: (1.0 - share) * x for one, x in fuel.parts.items()} | {"ethanol": share}
    density = (1.0 - ethanol_share) * fuel.density + ethanol_share * ethanol.density
    by_mass = ethanol_share * ethanol.density / density
    evaporation = (1.0 - by_mass) * fuel.evaporation + by_mass * ethanol.evaporation
    return Fuel(parts, density, evaporation, octane=(1.0 - share) * fuel.octane + share * ethanol.octane)
