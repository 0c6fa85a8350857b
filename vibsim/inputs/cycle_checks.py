"""Keys of the working cycle that go together, or not at all: none may stand in a case and do nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vibsim.inputs.models import CycleGas
from vibsim.inputs.units import Unit

Report = Callable[[tuple[str | int, ...], Any, str], None]
IDEAL = ("heat_capacity_ratio_fall", "gas_constant", "lower_heating_value")
SECOND = ("second_burn_duration", "second_wiebe_m")
SHAPE = ("wiebe_a", "wiebe_m", "second_burn_share")


def check_cycle_gas(gas: dict[str, Any], strokes: Any, report: Report) -> None:
    """Report every key of `[engine.gas]` that the others leave without effect."""
    fuel, two = gas.get("fuel", "petrol"), strokes == 2
    diesel, ideal = fuel == "diesel", gas.get("heat_capacity_ratio") is not None
    with_spark = 'goes with a fuel that a spark lights, got fuel = "diesel"'
    rules: list[tuple[bool, tuple[str, ...], str]] = [
        (fuel != "petrol", ("ethanol_share",), f"goes with fuel = \"petrol\", got '{fuel}'"),
        (diesel, ("half_burned", "octane_number", "charge_cooling_share"), with_spark),
        (diesel or two, ("closed_throttle_pressure", "throttle"), "goes with a spark-ignited four-stroke"),
        (gas.get("throttle") is not None, ("closed_throttle_pressure",), "goes without a throttle, whose flow says it"),
        (diesel, ("knock_margin",), with_spark),
        (not diesel, ("injection_start",), f"goes with fuel = \"diesel\", got '{fuel}'"),
        (diesel and gas.get("burn_duration") is None, SHAPE, "goes with burn_duration_deg in a diesel"),
        (not gas.get("second_burn_share"), SECOND, "goes with second_burn_share"),
        ("burn_start" in gas, ("half_burned", "injection_start"), "goes without burn_start_deg, which says the same"),
        (not ideal, IDEAL, "goes with heat_capacity_ratio, an ideal gas; the fuel says it otherwise"),
        (ideal, ("charge_cooling_share",), "goes without heat_capacity_ratio: an ideal gas does not evaporate"),
        (not two, ("scavenging",), "goes with strokes = 2"),
    ]
    for broken, keys, allowed in rules:
        for key in keys if broken else ():
            if gas.get(key) is not None and not (gas[key] == 0.0 and key.endswith("_share")):
                report(("engine", "gas", key), None if _has_unit(key) else gas[key], allowed)


def _has_unit(key: str) -> bool:
    """Whether a key's number is no longer the one that the file has."""
    return any(isinstance(item, Unit) for item in CycleGas.model_fields[key].metadata)
