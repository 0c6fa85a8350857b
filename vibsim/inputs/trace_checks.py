"""Checks that span several keys of `[engine.gas]` with source trace: files, and what is to be done to the traces."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from vibsim.inputs.errors import nearest

Report = Callable[[tuple[str | int, ...], Any, str], None]
GAS = ("engine", "gas")
WRITTEN = {"intake_pressure": "intake_pressure_kPa", "smoothing_window": "smoothing_window_deg"}
# a key that means something only under one word of another key
GOES_WITH = {
    "smoothing_window": ("smoothing", "savitzky_golay"),
    "smoothing_cut_off_order": ("smoothing", "low_pass"),
    "intake_pressure": ("pegging", "intake"),
    "intake_window": ("pegging", "intake"),
    "pegging_fit": ("pegging", "polytropic"),
    "pegging_exponent": ("pegging", "polytropic"),
}


def check_trace_gas(engine: dict[str, Any], gas: dict[str, Any], cylinders: list[dict], report: Report) -> None:
    """Report mistakes in the keys of a `[engine.gas]` of measured traces."""
    _check_files(gas, cylinders, report)
    for key, (chooser, word) in GOES_WITH.items():
        if key in gas and gas.get(chooser) != word:
            report((*GAS, key), None, f'goes with {chooser} = "{word}"')
    for key in ("smoothing_window", "smoothing_cut_off_order"):
        chooser, word = GOES_WITH[key]
        if gas.get(chooser) == word and key not in gas:
            report((*GAS, WRITTEN.get(key, key)), None, f"is missing; {chooser} {word} needs it")
    _check_pegging(engine, gas, cylinders, report)
    _check_top(gas, report)
    half = math.pi if engine.get("strokes") == 2 else 2.0 * math.pi
    _check_window(gas, "compression_angles", (-half, 0.0), report)
    _check_window(gas, "expansion_angles", (0.0, half), report)


def _check_files(gas: dict[str, Any], cylinders: list[dict], report: Report) -> None:
    names = [name for name in (cylinder.get("name") for cylinder in cylinders) if isinstance(name, str)]
    given = gas.get("files")
    files = given if isinstance(given, dict) else {}
    for name in files:
        if names and name not in names:
            report((*GAS, "files", name), name, f"no such cylinder; {nearest(name, names)}")
    if gas.get("folder") is not None:
        for key in ("file", "files"):
            if gas.get(key):
                report((*GAS, key), gas[key], "folder names the traces already; keep one of the two")
        return
    lacking = [name for name in names if name not in files]
    if gas.get("file") is None and lacking:
        allowed = "is missing; give file, folder, or files with one entry for each of: " + ", ".join(lacking)
        report((*GAS, "file"), None, allowed)


def _check_pegging(engine: dict[str, Any], gas: dict[str, Any], cylinders: list[dict], report: Report) -> None:
    if gas.get("pegging") == "intake" and gas.get("intake_pressure") is None and gas.get("folder") is None:
        report((*GAS, WRITTEN["intake_pressure"]), None, "is missing; pegging intake needs it")
    if gas.get("pegging") != "polytropic":
        return
    if gas.get("pegging_fit") == "two_point" and gas.get("pegging_exponent") is None:
        report((*GAS, "pegging_exponent"), None, "is missing; pegging_fit two_point needs it")
    lacking = any(cylinder.get("compression_ratio") is None for cylinder in cylinders)
    if engine.get("compression_ratio") is None and lacking:
        report(("engine", "compression_ratio"), None, "is missing; engine.gas.pegging polytropic needs it")


def _check_top(gas: dict[str, Any], report: Report) -> None:
    motored = gas.get("motored_file") is not None
    if motored and gas.get("top_dead_centre_offset") is not None:
        report((*GAS, "top_dead_centre_offset"), None, "motored_file gives it already; keep one of the two")
    if "loss_angle" in gas and not motored:
        report((*GAS, "loss_angle"), None, "goes with motored_file")


def _check_window(gas: dict[str, Any], key: str, limits: tuple[float, float], report: Report) -> None:
    angles = gas.get(key)
    if not isinstance(angles, tuple) or len(angles) != 2 or any(not isinstance(item, int | float) for item in angles):
        return
    if not limits[0] <= angles[0] < angles[1] <= limits[1]:
        low, high = (f"{math.degrees(limit):g}" for limit in limits)
        shown = [round(math.degrees(angle), 6) for angle in angles]
        report((*GAS, key), f"{shown} deg", f"must rise, between {low} and {high} deg from firing top dead centre")
