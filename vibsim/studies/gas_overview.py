"""What the working cycle of a case gives at its operating point, cylinder by cylinder where they differ."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from vibsim.engine.cycle import Cycle, solve_cycle
from vibsim.engine.knock import UNCERTAINTY, octane_margin
from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.inputs.models import Case, Engine


@dataclass(frozen=True)
class CylinderGas:
    """Cylinders that run alike, their cycle, and octane numbers to spare before knock (None where none can)."""

    cylinders: tuple[str, ...]
    cycle: Cycle
    margin: float | None

    def as_dict(self) -> dict[str, Any]:
        cycle = self.cycle
        return {
            "cylinders": list(self.cylinders),
            "indicated_mean_pressure_bar": 1e-5 * cycle.mean_pressure,
            "gross_mean_pressure_bar": 1e-5 * cycle.gross_mean_pressure,
            "pumping_mean_pressure_bar": 1e-5 * cycle.pumping_mean_pressure,
            "peak_pressure_bar": 1e-5 * cycle.peak_pressure,
            "peak_angle_deg": math.degrees(cycle.peak_angle),
            "efficiency": cycle.efficiency,
            "intake_pressure_bar": 1e-5 * cycle.conditions.intake_pressure,
            "trapped_mass_mg": 1e6 * cycle.trapped_mass,
            "fuel_mass_mg": 1e6 * cycle.fuel_mass,
            "residual_share": cycle.residual_share,
            "exhaust_temperature_K": cycle.exhaust_temperature,
            "wall_heat_J": cycle.wall_heat,
            "port_heat_J": cycle.port_heat,
            "knock_margin_octane_numbers": self.margin,
            "knock_margin_uncertainty": None if self.margin is None else UNCERTAINTY,
        }

    def words(self) -> str:
        """`indicated 5.7 bar (gross 6.3, pumping −0.6), peak 33 bar at 13°, ...`."""
        cycle = self.cycle
        mean, gross, pumping = (
            _signed(1e-5 * value, 1)
            for value in (cycle.mean_pressure, cycle.gross_mean_pressure, cycle.pumping_mean_pressure)
        )
        peak = f"peak {1e-5 * cycle.peak_pressure:.0f} bar at {_signed(math.degrees(cycle.peak_angle), 0)}°"
        parts = [f"indicated {mean} bar (gross {gross}, pumping {pumping})", peak]
        if cycle.fuel_heat > 0.0:
            parts += [
                f"efficiency {_signed(cycle.efficiency, 2)}",
                f"exhaust {cycle.exhaust_temperature:.0f} K",
                f"residual {100.0 * cycle.residual_share:.0f} %",
            ]
        else:
            parts.append("no fuel")
        if self.margin is not None:
            verdict = "" if self.margin > UNCERTAINTY else f": {'may' if self.margin > -UNCERTAINTY else 'would'} knock"
            parts.append(f"knock margin {_signed(self.margin, 0)} ± {UNCERTAINTY:.0f} octane numbers{verdict}")
        return ", ".join(parts)


def _signed(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace("-", "−")


def gas_overview(case: Case, layout: Layout) -> list[CylinderGas]:
    """The working cycles at the run's speed and load; none for another source of gas, or without a run."""
    engine, run = case.engine, case.run
    if engine is None or run is None or engine.gas.source != "cycle" or run.speed == 0.0:
        return []
    return cycles_alike(engine, layout.cylinders, abs(run.speed), run.load)


def cycles_alike(
    engine: Engine, cylinders: tuple[ResolvedCylinder, ...], speed: float, load: float
) -> list[CylinderGas]:
    """The working cycles of cylinders at a crank speed (rad/s) and load, one for those that run alike."""
    alike: dict[Cycle, list[str]] = {}
    for cylinder in cylinders:
        # cycles are solved once for each way to run, so that cylinders alike get the very same one
        alike.setdefault(solve_cycle(engine, cylinder, speed, load), []).append(cylinder.name)
    found = []
    for cycle, names in alike.items():
        margin = octane_margin(engine, cycle)
        found.append(CylinderGas(tuple(names), cycle, margin if math.isfinite(margin) else None))
    return found
