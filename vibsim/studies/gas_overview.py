"""What the working cycle of a case gives at its operating point, cylinder by cylinder where they differ."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vibsim.engine.boost import Boost
from vibsim.engine.cycle import Cycle
from vibsim.engine.knock import UNCERTAINTY, octane_margin
from vibsim.engine.load_target import with_load
from vibsim.engine.operating_point import OperatingPoint, operating_point
from vibsim.inputs.models import Case

RPM = 30.0 / math.pi


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
            "air_supplied_share": cycle.air_supplied,
            "air_kept_share": cycle.air_kept,
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


def gas_overview(case: Case, folder: Path) -> list[CylinderGas]:
    """The working cycles at the run's speed and load; none for another source of gas, or without a run."""
    point = run_point(case, folder)
    return [] if point is None else cycles_alike(point)


def run_point(case: Case, folder: Path) -> OperatingPoint | None:
    """The whole engine at the run's speed and load; None without a working cycle or a run that turns."""
    case = with_load(case, folder)
    engine, run = case.engine, case.run
    if engine is None or run is None or engine.gas.source != "cycle" or run.speed == 0.0:
        return None
    return operating_point(engine, folder, abs(run.speed), run.load)


def cycles_alike(point: OperatingPoint, names: tuple[str, ...] | None = None) -> list[CylinderGas]:
    """The working cycles of an operating point, one for cylinders that run alike; of all or of some by name."""
    alike: dict[Cycle, list[str]] = {}
    for cylinder, cycle in zip(point.layout.cylinders, point.cycles, strict=True):
        if names is None or cylinder.name in names:
            alike.setdefault(cycle, []).append(cylinder.name)
    found = []
    for cycle, group in alike.items():
        margin = octane_margin(point.engine, cycle)
        found.append(CylinderGas(tuple(group), cycle, margin if math.isfinite(margin) else None))
    return found


def feeding_in_words(point: OperatingPoint) -> list[str]:
    """Throttle, charger and timing of an operating point, a line each where there is something to say."""
    conditions, lines = point.conditions, []
    intake = f"intake {1e-3 * conditions.intake_pressure:.1f} kPa and {conditions.intake_temperature:.0f} K"
    if point.opening is not None:
        lines.append(f"throttle: {100.0 * point.opening:.1f} % open, {intake}")
    boost = point.boost
    if boost is not None:
        lines.append(f"charging: {charger_in_words(boost)}; {intake}")
    if conditions.late > 0.0:
        lines.append(
            f"burn set {math.degrees(conditions.late):.1f}° later to keep {point.margin_wanted:g} octane numbers"
        )
    return lines


def charger_in_words(boost: Boost) -> str:
    """`compressor 93043 rpm, pressure ratio 1.33, 1.40 kW (29 A), 4.5 N m at the crank`."""
    charge = boost.charge
    if charge is None:
        return "compressor stands, fed past it" + (f", limited by {boost.limited_by}" if boost.limited_by else "")
    words = [f"compressor {charge.speed * RPM:.0f} rpm, pressure ratio {charge.ratio:.2f}"]
    if boost.electric is not None:
        words.append(f"{1e-3 * boost.electric.bus:.2f} kW ({boost.electric.bus_current:.0f} A)")
    if boost.turbo is not None:
        words.append(f"back pressure {1e-3 * boost.back_pressure:.0f} kPa")
    if boost.crank_torque:
        words.append(f"{boost.crank_torque:.1f} N m at the crank")
    if boost.limited_by:
        words.append(f"limited by {boost.limited_by}")
    return ", ".join([*words, *boost.flags])
