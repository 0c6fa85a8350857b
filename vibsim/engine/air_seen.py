"""What is written of the air path: quantities at a moment of a run, by name."""

from __future__ import annotations

import numpy as np

from vibsim.engine.air_path import ENERGY, INTAKE_TEMPERATURE, INVERTER, OPENING, WINDING, AirPath, air_point
from vibsim.engine.charging.pack import ELECTRIC, ENGINE_DRIVEN, EXHAUST_TURBINE, NONE
from vibsim.jit import bare

ALL, CHARGED = (NONE, ELECTRIC, EXHAUST_TURBINE, ENGINE_DRIVEN), (ELECTRIC, EXHAUST_TURBINE, ENGINE_DRIVEN)
CRANK = (ELECTRIC, ENGINE_DRIVEN)
# name: units, description, sources that have it; in the order of the columns
SEEN: dict[str, tuple[str, str, tuple[int, ...]]] = {
    "throttle_opening": ("1", "throttle opening, 0 shut to 1 wide open", ALL),
    "intake_pressure": ("Pa", "absolute pressure in the intake, at the valves", ALL),
    "intake_temperature": ("K", "temperature in the intake, at the valves", ALL),
    "boost": ("Pa", "pressure ahead of the throttle above the surroundings'", CHARGED),
    "air_mass_flow": ("kg s-1", "air that the engine draws", ALL),
    "charger_speed": ("rad s-1", "speed of the compressor's rotor", CHARGED),
    "compressor_mass_flow": ("kg s-1", "air through the compressor", CHARGED),
    "compressor_pressure_ratio": ("1", "total pressure ratio of the compressor", CHARGED),
    "compressor_power": ("W", "power that the compressor puts into the air", CHARGED),
    "compressor_flags": (
        "1",
        "sum of 1 beyond the surge line, 2 beyond the choke line, 4 below the lowest and 8 above the top speed line",
        CHARGED,
    ),
    "charger_torque": ("N m", "torque that the charger takes from the crank, of its alternator or its drive", CRANK),
    "flap_mass_flow": ("kg s-1", "air through the flap around the compressor", (ELECTRIC,)),
    "motor_torque": ("N m", "torque of the charger's motor", (ELECTRIC,)),
    "bus_power": ("W", "electric power to the charger's inverter", (ELECTRIC,)),
    "battery_current": ("A", "current from the battery", (ELECTRIC,)),
    "battery_energy": ("J", "energy taken from the battery", (ELECTRIC,)),
    "winding_temperature": ("K", "temperature of the motor's winding", (ELECTRIC,)),
    "inverter_temperature": ("K", "temperature of the inverter", (ELECTRIC,)),
    "exhaust_pressure": ("Pa", "absolute pressure at the exhaust ports", ALL),
    "exhaust_temperature": ("K", "temperature of the exhaust past the ports", ALL),
    "turbine_power": ("W", "power on the turbine's wheel", (EXHAUST_TURBINE,)),
    "wastegate_opening": ("1", "wastegate opening, 0 shut to 1 open", (EXHAUST_TURBINE,)),
    "turbine_flags": ("1", "1 where the blade speed ratio is beyond the efficiency curve", (EXHAUST_TURBINE,)),
    "blow_off_mass_flow": ("kg s-1", "air blown off behind the compressor", (ENGINE_DRIVEN,)),
}


@bare
def see_air(y, at, crank_speed, path, e, to, row):
    """Fill a row (SEEN) at states y[at:], a crank speed (rad/s) and the nodes' weights in e[to:]."""
    point = air_point(y, at, crank_speed, path, e, to)
    joint, electric, kind = point.joint, point.electric, path.charger.kind
    row[0], row[1], row[2] = y[at + OPENING], point.intake_pressure, y[at + INTAKE_TEMPERATURE]
    row[3], row[4], row[5] = joint.pressure - path.ambient, point.drawn.air, point.shaft.speed
    row[6], row[7], row[8], row[9] = joint.compressor_flow, joint.ratio, joint.power, joint.flags
    row[10], row[11], row[12] = point.shaft.crank_torque, joint.flap_flow, point.shaft.drive_torque
    row[13], row[14] = electric.bus, electric.battery_current
    if kind == ELECTRIC:
        row[15], row[16], row[17] = y[at + ENERGY], y[at + WINDING], y[at + INVERTER]
    row[18], row[19] = point.spent.pressure, point.drawn.temperature
    row[20], row[21], row[22] = point.spent.power, point.spent.opening, point.spent.flags
    row[23] = joint.blow_off


def seen_by_name(rows: np.ndarray, path: AirPath) -> dict[str, np.ndarray]:
    """Columns (n) of rows (n, SEEN) by name, those that the source has."""
    return {
        name: np.ascontiguousarray(column)
        for (name, (_, _, sources)), column in zip(SEEN.items(), rows.T, strict=True)
        if path.charger.kind in sources
    }
