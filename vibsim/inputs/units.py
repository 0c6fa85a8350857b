"""Unit-suffixed keys: `stiffness_N_per_mm = 180` becomes 180 000 N/m. Units exist only here."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

GREATEST = 1e300
OTHER_WORDS = {"rev": "turn"}  # of the trade, for those of the units library
ANGLE_WORDS = {"deg", "rad", "mrad", "arcmin", "arcsec", "turn", "rev", "grade"}
TURNING_WORDS = ANGLE_WORDS | {"rpm", "rps", "Hz"}


@dataclass(frozen=True)
class Unit:
    """What a quantity is measured in: its SI unit and a customary suffix for examples.

    `common` lists suffixes worth offering when an editor completes the key.
    """

    si: str
    example: str
    what: str
    common: tuple[str, ...] = ()

    @property
    def is_angle(self) -> bool:
        return self.si == "rad"

    @property
    def is_per_turning(self) -> bool:
        """Whether a rotational speed is in it, as in `viscous_N_m_per_rpm`."""
        return self.what.endswith("rotational speed")


class SuffixError(ValueError):
    """A suffix that is no unit, or a unit of the wrong dimension."""


@cache
def _registry():
    import pint

    try:
        return pint.UnitRegistry(cache_folder=":auto:")  # parsed definitions, kept between runs
    except OSError:  # no folder to write to
        return pint.UnitRegistry()


@cache
def suffix_expression(suffix: str) -> str:
    """`N_s_per_mm` -> `N*s/mm`; raises SuffixError for anything that is not words, `_per_` and powers."""
    above, *below = re.split(r"_per_|^per_", suffix)
    if len(below) > 1:
        raise SuffixError(f"unit '{suffix}' has more than one 'per'")
    parts = []
    for sign, words in ((1, above), (-1, below[0] if below else "")):
        for word in filter(None, words.split("_")):
            match = re.fullmatch(r"([A-Za-zµ]+?)(\d?)", word)
            if not match:
                raise SuffixError(f"unknown unit '{suffix}'")
            parts.append(f"{OTHER_WORDS.get(match[1], match[1])}**{sign * int(match[2] or 1)}")
    if not parts:
        raise SuffixError("the unit is missing")
    return "*".join(parts)


@cache
def _linear_map(suffix: str, unit: Unit) -> tuple[float, float]:
    """Scale and offset that take a number in `suffix` to SI."""
    words = set(re.split(r"_|\d", suffix))
    if unit.is_angle and not words <= ANGLE_WORDS:
        raise SuffixError(f"unit '{suffix}' is not an angle")
    expression = suffix_expression(suffix)
    turning = bool(words & TURNING_WORDS)
    if (unit is SPEED and not turning) or (unit is FREQUENCY and turning and "Hz" not in words):
        raise SuffixError(f"unit '{suffix}' is not {unit.what}")
    if unit is ACCELERATION and suffix == "g":  # of weight, not a gram
        expression = "standard_gravity"
    if unit.is_per_turning:  # one Hz of a shaft is one turn per second
        expression = expression.replace("Hz", "(turn/s)").replace("rps", "(turn/s)")
    registry = _registry()
    try:
        parsed = registry.parse_units(expression)
        zero = registry.Quantity(0.0, parsed).to(unit.si).magnitude
        one = registry.Quantity(1.0, parsed).to(unit.si).magnitude
    except Exception as error:
        reason = "is not " + unit.what if "Cannot convert" in str(error) else "is unknown"
        raise SuffixError(f"unit '{suffix}' {reason}") from None
    return one - zero, zero


def to_si(value, suffix: str, unit: Unit):
    """Convert a number, or lists of numbers, given in `suffix` to the SI unit of `unit`.

    Anything that is not a number is handed back as it is, for the model's own check to name.
    """
    scale, offset = _linear_map(suffix, unit)
    if isinstance(value, list):
        return [to_si(item, suffix, unit) for item in value]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    if abs(value) > GREATEST:
        return float("inf")
    inverse = round(1.0 / scale)
    if inverse > 1 and abs(inverse * scale - 1.0) < 1e-12:  # 72 mm is 0.072 m, not 0.07200000000000001 m
        return value / inverse + offset
    return value * scale + offset


def from_si(value: float, suffix: str, unit: Unit) -> float:
    """A number in the SI unit of `unit` as one given in `suffix`."""
    scale, offset = _linear_map(suffix, unit)
    return (value - offset) / scale


LENGTH = Unit("m", "mm", "a length", ("mm", "m", "cm", "um", "in", "ft"))
METRES = Unit("m", "m", "a length", ("m", "mm", "km", "ft"))
VELOCITY = Unit("m/s", "km_per_h", "a speed", ("km_per_h", "m_per_s", "mile_per_h"))
AREA = Unit("m**2", "mm2", "an area", ("mm2", "cm2", "m2"))
MASS = Unit("kg", "kg", "a mass", ("kg", "g", "t", "lb"))
SMALL_MASS = Unit("kg", "g", "a mass", ("g", "kg", "oz", "lb"))
INERTIA = Unit("kg*m**2", "kg_m2", "a moment of inertia", ("kg_m2", "kg_mm2", "kg_cm2", "g_m2", "lb_in2", "lb_ft2"))
SMALL_INERTIA = Unit(
    "kg*m**2", "kg_mm2", "a moment of inertia", ("kg_mm2", "kg_m2", "kg_cm2", "g_mm2", "g_m2", "lb_in2")
)
UNBALANCE = Unit("kg*m", "kg_mm", "an unbalance (mass times radius)", ("kg_mm", "g_mm", "g_cm", "kg_m", "oz_in"))
ANGLE = Unit("rad", "deg", "an angle", ("deg", "rad", "rev"))
SPEED = Unit("rad/s", "rpm", "a rotational speed", ("rpm", "rad_per_s", "deg_per_s", "Hz"))
SPEED_RATE = Unit("rad/s**2", "rpm_per_s", "a rotational acceleration", ("rpm_per_s", "rad_per_s2"))
SHARE_PER_SPEED = Unit("s/rad", "per_rpm", "a share per rotational speed", ("per_rpm",))
SHARE_PER_TURNING = Unit("1/rad", "per_rpm_s", "a share per time and rotational speed", ("per_rpm_s",))
TORQUE_PER_TURNING = Unit(
    "N*m/rad", "N_m_per_rpm_s", "a torque per time and rotational speed", ("N_m_per_rpm_s", "N_m_per_rad")
)
ACCELERATION = Unit("m/s**2", "g", "an acceleration", ("g", "m_per_s2"))
TIME = Unit("s", "s", "a time", ("s", "ms", "min"))
FREQUENCY = Unit("Hz", "Hz", "a frequency", ("Hz", "kHz"))
PRESSURE = Unit("Pa", "kPa", "a pressure", ("kPa", "bar", "mbar", "Pa", "hPa", "MPa", "psi"))
PRESSURE_PER_SPEED = Unit("Pa*s", "bar_per_rpm", "a pressure per rotational speed", ("bar_per_rpm", "Pa_s"))
PRESSURE_PER_PISTON_SPEED = Unit("Pa*s/m", "bar_s_per_m", "a pressure per piston speed", ("bar_s_per_m", "kPa_s_per_m"))
PRESSURE_PER_PISTON_SPEED2 = Unit(
    "Pa*s**2/m**2", "bar_s2_per_m2", "a pressure per squared piston speed", ("bar_s2_per_m2", "kPa_s2_per_m2")
)
TEMPERATURE = Unit("K", "K", "a temperature", ("K", "degC"))
STIFFNESS = Unit("N/m", "N_per_mm", "a stiffness", ("N_per_mm", "N_per_m", "kN_per_mm", "kN_per_m", "lbf_per_in"))
DAMPING = Unit(
    "N*s/m", "N_s_per_mm", "a viscous damping rate", ("N_s_per_mm", "N_s_per_m", "kN_s_per_m", "lbf_s_per_in")
)
TORSIONAL_STIFFNESS = Unit("N*m/rad", "N_m_per_rad", "a torsional stiffness", ("N_m_per_rad", "N_m_per_deg"))
TORSIONAL_DAMPING = Unit("N*m*s/rad", "N_m_s_per_rad", "a torsional damping rate", ("N_m_s_per_rad", "N_m_s_per_deg"))
VOLUME_PER_PRESSURE = Unit(
    "m**3/Pa", "mm3_per_kPa", "a compliance (volume per pressure)", ("mm3_per_kPa", "cm3_per_bar", "m3_per_Pa")
)
INERTANCE = Unit("kg/m**4", "kg_per_m4", "an inertance (mass per squared area)", ("kg_per_m4", "kg_per_cm4"))
FLOW_RESISTANCE = Unit(
    "Pa*s/m**3", "kPa_s_per_L", "a flow resistance (pressure per flow)", ("kPa_s_per_L", "Pa_s_per_m3")
)
FLOW_RESISTANCE2 = Unit(
    "Pa*s**2/m**6", "kPa_s2_per_L2", "a pressure per squared flow", ("kPa_s2_per_L2", "Pa_s2_per_m6")
)
FORCE = Unit("N", "N", "a force", ("N", "kN", "lbf"))
TORQUE = Unit("N*m", "N_m", "a torque", ("N_m", "kN_m", "lbf_ft", "lbf_in"))
TORQUE_PER_SPEED = Unit("N*m*s", "N_m_s", "a torque per rotational speed", ("N_m_s", "N_m_per_rpm"))
TORQUE_PER_SPEED2 = Unit("N*m*s**2", "N_m_s2", "a torque per squared rotational speed", ("N_m_s2", "N_m_per_rpm2"))
SPECIFIC_ENERGY = Unit("J/kg", "MJ_per_kg", "an energy per mass", ("MJ_per_kg", "kJ_per_kg"))
POWER = Unit("W", "kW", "a power", ("kW", "W", "hp"))
ENERGY = Unit("J", "kJ", "an energy", ("kJ", "J", "MJ", "Wh", "kWh"))
VOLTAGE = Unit("V", "V", "a voltage", ("V",))
CURRENT = Unit("A", "A", "a current", ("A",))
RESISTANCE = Unit("ohm", "mohm", "an electrical resistance", ("mohm", "ohm"))
THERMAL_RESISTANCE = Unit("K/W", "K_per_W", "a thermal resistance", ("K_per_W", "K_per_kW"))
HEAT_CAPACITY = Unit("J/K", "J_per_K", "a heat capacity", ("J_per_K", "kJ_per_K"))
MASS_FLOW = Unit("kg/s", "kg_per_s", "a mass flow", ("kg_per_s", "g_per_s", "kg_per_h", "kg_per_min", "lb_per_min"))
DENSITY = Unit("kg/m**3", "kg_per_m3", "a density", ("kg_per_m3", "g_per_L"))
VOLUME = Unit("m**3", "L", "a volume", ("L", "cm3", "m3", "mL"))
SMALL_VOLUME = Unit("m**3", "cm3", "a volume", ("cm3", "mm3", "m3"))
