"""Where the energy of the fuel goes in a working cycle: a balance that closes."""

from __future__ import annotations

from dataclasses import dataclass

from vibsim.engine.cycle import Cycle
from vibsim.engine.cycle_setup import exhaust_at
from vibsim.engine.species import REFERENCE


@dataclass(frozen=True)
class Energy:
    """J per cycle. `fuel`, its lower heating value, is `work` (net) + `scavenging` (to deliver a two-stroke's charge) +
    `walls` + `port` (lost by the exhaust in its port) + `exhaust` (what it still holds past the port, with blow-by,
    over what came in) + `unburned` (fuel, and what its burning left unfinished) + `error`; `work` is `gross` work of
    compression and expansion + that of `gas_exchange`."""

    fuel: float
    work: float
    gross: float
    gas_exchange: float
    scavenging: float
    walls: float
    port: float
    exhaust: float
    unburned: float

    @property
    def error(self) -> float:
        """What the balance leaves over."""
        known = self.work + self.scavenging + self.walls + self.port + self.exhaust + self.unburned
        return self.fuel - known


def energy_of(cycle: Cycle) -> Energy:
    """The balance of a cycle.

    Derived: the cycle's enthalpies hold the heat of formation. Taking from them, at 298.15 K, those of air and liquid
    fuel on the way in and of air, fuel vapour and burnt gas on the way out leaves what heat the gas carries; in the
    difference of the two is the fuel's heating value, less what has not burned.
    """
    gas, burned = cycle.gas, cycle.burned_mass
    shares = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    of_air, of_fuel, of_burnt = (exhaust_at(REFERENCE, share, gas).enthalpy for share in shares)
    air_out, fuel_out = cycle.air_mass - burned * gas.air_per_fuel, cycle.fuel_mass - burned
    coming = cycle.air_mass * of_air + cycle.fuel_mass * gas.liquid
    leaving = air_out * of_air + fuel_out * of_fuel + burned * (1.0 + gas.air_per_fuel) * of_burnt
    carried = (cycle.enthalpy_out - leaving) - (cycle.enthalpy_in - coming)
    return Energy(
        fuel=cycle.fuel_heat,
        work=cycle.work,
        gross=cycle.gross_work,
        gas_exchange=cycle.work - cycle.gross_work,
        scavenging=cycle.scavenge_work,
        walls=cycle.wall_heat,
        port=cycle.port_heat,
        exhaust=carried - cycle.port_heat,
        unburned=cycle.fuel_heat - (coming - leaving),
    )
