"""Checks of friction and accessories that a single key cannot show."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]
RISING = ("viscous", "mean_effective_pressure_rise")  # what thick oil raises in simple friction


def check_friction(friction: Any, report: Report) -> None:
    """A key that cannot act is a mistake: an oil without its temperature, a temperature with nothing to thicken."""
    if not isinstance(friction, dict):
        return
    where = ("engine", "friction")
    if "oil" in friction and "oil_temperature" not in friction:
        report((*where, "oil"), friction["oil"], "needs oil_temperature_degC; friction as given is that at 90 degC")
    if "oil_temperature" not in friction:
        return
    if "cold_factor" in friction:
        report((*where, "cold_factor"), friction["cold_factor"], "oil_temperature says how cold it is too; keep one")
    chen_flynn = friction.get("law") == "chen_flynn"
    rising = [friction.get("C", 1.0)] if chen_flynn else [friction.get(key) for key in RISING]
    if not any(rising):
        given = "C" if chen_flynn else " or ".join(RISING)
        report((*where, "oil_temperature"), None, f"thickens what rises with speed; give {given}, or use cold_factor")


def check_accessory(accessory: dict[str, Any], block: Any, where: tuple[str | int, ...], report: Report) -> None:
    """An accessory must be driven, and its inertia turns with the block or not at all."""
    if accessory.get("ratio") == 0:
        report((*where, "ratio"), accessory["ratio"], "must not be 0: what the crank does not drive takes no torque")
    by = accessory.get("reacted_by")
    if accessory.get("inertia") and by is not None and by != block:
        allowed = f"an accessory that '{by}' carries must leave it out: only what turns in the block is felt as inertia"
        report((*where, "inertia"), None, allowed)
