"""The working cycle in tables, one column for each operating point."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from vibsim.engine.cycle_solver import TOLERANCE
from vibsim.engine.knock import UNCERTAINTY
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.cycle_view import (
    CLOSES,
    SLOPE_RULE,
    CycleView,
    Point,
    energy_as_dict,
    engine_as_dict,
    point_as_dict,
)

NONE = "–"
LABEL_WIDTH, COLUMN_WIDTH = 42, 17
ROWS = (  # words, key, factor, digits
    ("IMEP net, bar", "indicated_mean_pressure_bar", 1.0, 2),
    ("IMEP gross, bar", "gross_mean_pressure_bar", 1.0, 2),
    ("IMEP pumping, bar", "pumping_mean_pressure_bar", 1.0, 2),
    ("peak pressure, bar", "peak_pressure_bar", 1.0, 1),
    ("  at °", "peak_angle_deg", 1.0, 1),
    ("injection begins, °", "injection_deg", 1.0, 1),
    ("ignition (burning begins), °", "ignition_deg", 1.0, 1),
    ("10 % burned, °", "burned_10_deg", 1.0, 1),
    ("50 % burned, °", "burned_50_deg", 1.0, 1),
    ("90 % burned, °", "burned_90_deg", 1.0, 1),
    ("10 to 90 % burned takes, °", "burn_10_to_90_deg", 1.0, 1),
    ("all of it takes, °", "burn_duration_deg", 1.0, 1),
    ("indicated efficiency, %", "efficiency", 100.0, 1),
    ("indicated fuel consumption, g/kWh", "indicated_fuel_consumption_g_per_kWh", 1.0, 0),
    ("fuel per cycle, mg", "fuel_mass_mg", 1.0, 2),
    ("trapped mass, mg", "trapped_mass_mg", 1.0, 1),
    ("residual gas, %", "residual_share", 100.0, 1),
    ("air supplied, % of a filled swept volume", "air_supplied_share", 100.0, 1),
    ("  of it there as the valves shut, %", "air_kept_share", 100.0, 1),
    ("intake pressure, bar", "intake_pressure_bar", 1.0, 3),
    ("exhaust temperature at the valve, K", "exhaust_valve_temperature_K", 1.0, 0),
    ("exhaust temperature past the port, K", "exhaust_temperature_K", 1.0, 0),
    ("heat to the cylinder's walls, J", "wall_heat_J", 1.0, 1),
    ("exponent of compression", "compression_exponent", 1.0, 3),
    ("exponent of expansion", "expansion_exponent", 1.0, 3),
    ("cycles until it closed", "cycles_to_close", 1.0, 0),
)
ENGINE = (  # of the whole engine
    ("BMEP, bar", "brake_mean_pressure_bar", 1.0, 2),
    ("  lost to friction, bar", "friction_mean_pressure_bar", 1.0, 2),
    ("  to accessories, bar", "accessory_mean_pressure_bar", 1.0, 2),
    ("  to the charger, bar", "charger_mean_pressure_bar", 1.0, 2),
    ("torque, N m", "brake_torque_N_m", 1.0, 1),
    ("power, kW", "brake_power_kW", 1.0, 2),
    ("brake efficiency, %", "brake_efficiency", 100.0, 1),
    ("brake fuel consumption, g/kWh", "brake_fuel_consumption_g_per_kWh", 1.0, 0),
)
BALANCE = (  # words, key
    ("net work", "net_work_J"),
    ("  of compression and expansion", "gross_work_J"),
    ("  of gas exchange", "gas_exchange_work_J"),
    ("delivering the charge", "scavenging_work_J"),
    ("heat to the cylinder's walls", "wall_heat_J"),
    ("exhaust, over what comes in", "exhaust_J"),
    ("  lost in its port", "exhaust_port_heat_J"),
    ("  past the port", "exhaust_past_port_J"),
    ("not burned", "unburned_J"),
    ("fuel, lower heating value", "fuel_J"),
)


def print_cycles(view: CycleView, title: str, written: list[Path]) -> None:
    """What each point gives, and where the energy of its fuel goes."""
    console = new_console()
    names = ", ".join(view.points[0].gas.cylinders)
    alike = "" if view.which(view.points[0]) else f" · cylinder{'s' if ',' in names else ''} {names}"
    console.print(Text(f"Working cycle · {title}{alike}", style="bold"))
    console.print(Text("angles from firing top dead centre; masses, work and heat per cylinder and cycle"), style="dim")
    across = max((console.width - LABEL_WIDTH) // COLUMN_WIDTH, 1)
    for first in range(0, len(view.points), across):
        points = view.points[first : first + across]
        tables = (
            ("What the cycle gives", _gives(points)),
            ("What the engine gives, all cylinders, after its losses", _engine(points)),
            ("Energy per cycle", _energy(points)),
        )
        for heading, rows in tables:
            table = new_table(heading, "", *("\n".join(view.label(point).split(", ", 2)) for point in points))
            for words, cells in rows:
                if any(cell != NONE for cell in cells):
                    table.add_row(words, *cells)
            console.print(table)
    console.print(Text(f"{SLOPE_RULE}; {CLOSES.format(TOLERANCE)}"), style="dim")
    for words in view.notes:
        console.print(Text(f"note: {words}", style="bold"))
    console.print(Text(CAUTION), style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))


Rows = list[tuple[str, list[str]]]


def _gives(points: tuple[Point, ...]) -> Rows:
    found = [point_as_dict(point) for point in points]
    for one in found:
        one["efficiency"] = one["efficiency"] if one["energy"]["fuel_J"] else None
    rows: Rows = [(words, [_number(one[key], factor, digits) for one in found]) for words, key, factor, digits in ROWS]
    rows.append((f"knock margin ± {UNCERTAINTY:.0f}, octane numbers", [_margin(point) for point in points]))
    rows.append(("  so it", [_verdict(point) for point in points]))
    return rows


def _engine(points: tuple[Point, ...]) -> Rows:
    """Brake figures; accessories and charger only where the case has them."""
    found = [engine_as_dict(point.engine) for point in points]
    shown = [row for row in ENGINE if row[1][:3] not in ("acc", "cha") or any(one[row[1]] for one in found)]
    return [(words, [_number(one[key], factor, digits) for one in found]) for words, key, factor, digits in shown]


def _margin(point: Point) -> str:
    return NONE if point.gas.margin is None else _number(point.gas.margin, 1.0, 0)


def _verdict(point: Point) -> str:
    margin = point.gas.margin
    if margin is None:
        return NONE
    if margin > UNCERTAINTY:
        return "does not knock"
    return "may knock" if margin > -UNCERTAINTY else "would knock"


def _energy(points: tuple[Point, ...]) -> Rows:
    """Balance in J and % of the fuel; the last row is what it does not account for."""
    found = [energy_as_dict(point.energy) for point in points]
    rows: Rows = []
    for name, key in BALANCE:
        nothing = key == "scavenging_work_J" and not any(one[key] for one in found)
        leaks = key == "exhaust_past_port_J" and any(point.cycle.leak_mass > 0.0 for point in points)
        words = f"{name}, with blow-by" if leaks else name
        rows.append((words, [NONE if nothing else _part(one[key], one["fuel_J"]) for one in found]))
    rows.append(("closure error", [_closure(one) for one in found]))
    return rows


def _part(value: float | None, fuel: float | None) -> str:
    assert value is not None
    assert fuel is not None
    share = f"{plain_number(100.0 * value / fuel, 1):>6} %" if fuel > 0.0 else ""
    return (plain_number(value, 1) + " J" + share).replace("-", "−")


def _closure(found: dict[str, float | None]) -> str:
    error, share = found["closure_error_J"], found["closure_error_share"]
    assert error is not None
    words = f"{error:.2g} J" + ("" if share is None else f" {100.0 * share:.4f} %")
    return words.replace("-", "−")


def _number(value: float | None, factor: float, digits: int) -> str:
    return NONE if value is None else plain_number(factor * value, digits).replace("-", "−")
