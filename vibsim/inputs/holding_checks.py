"""Checks of what holds the mean speed of a steady run."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vibsim.inputs.programme_checks import check_governor

Report = Callable[[tuple[str | int, ...], Any, str], None]
TARGETS = ("bmep", "torque", "power")
KINDS = ("steady", "misfire")


def check_holding(clean: dict[str, Any], report: Report) -> None:
    """Report what does not go with `run.held_by`, one line each."""
    run, engine = clean.get("run"), clean.get("engine")
    held = run.get("held_by", "load_torque") if isinstance(run, dict) else "load_torque"
    if held not in ("load", "governor") or not isinstance(run, dict):
        return
    engine = engine if isinstance(engine, dict) else {}
    where, kind = ("run", "held_by"), run.get("kind", "steady")
    if kind not in KINDS:
        report(where, held, f'is for kind = "steady" or "misfire"; this is {kind!r}')
    elif run.get("speed_is") == "prescribed":
        report(where, held, 'does not go with speed_is = "prescribed", which leaves nothing to hold')
    elif run.get("variation") is not None:
        report(where, held, "with run.variation no two cycles are alike; allowed: load_torque")
    elif held == "load":
        _check_load(run, engine, report)
    else:
        _check_governor(clean, run, engine, report)


def _check_load(run: dict[str, Any], engine: dict[str, Any], report: Report) -> None:
    gas = engine.get("gas")
    gas = gas if isinstance(gas, dict) else {}
    if gas.get("source", "none") != "cycle":
        got = gas.get("source", "none")
        report(("run", "held_by"), "load", f"needs engine.gas.source = 'cycle' to find a load for; got '{got}'")
    for key in ("intake_pressure", "fuel_cut"):
        if gas.get(key):
            report(("engine", "gas", key), None, 'leaves no load to find, which run.held_by = "load" asks for')
    if run.get("load") is not None:
        report(("run", "load"), run["load"], 'is what run.held_by = "load" finds; leave it out')


def _check_governor(clean: dict[str, Any], run: dict[str, Any], engine: dict[str, Any], report: Report) -> None:
    governor, charging, load = (engine.get(key) for key in ("governor", "charging", "load"))
    if not isinstance(governor, dict):
        report(("engine", "governor"), None, 'is missing; run.held_by = "governor" needs an [engine.governor] table')
        return
    throttle = governor.get("acts_on", "throttle") == "throttle"
    check_governor(engine, report)
    if run.get("speed") is not None and run["speed"] != governor.get("speed"):
        report(("run", "speed_rpm"), None, 'is that of engine.governor with held_by = "governor"; leave it out')
    for key in ("load", *TARGETS) if throttle else TARGETS:
        if run.get(key) is not None:
            report(("run", key), run[key], 'is what the governor finds with held_by = "governor"; leave it out')
    if isinstance(charging, dict) and charging.get("source", "none") != "none":
        report(("run", "held_by"), "governor", "does not go with engine.charging, whose battery and heat never repeat")
    crank = engine.get("crank")
    outlet = [key for key in ("chain", "differential") if isinstance(load, dict) and load.get(key) is not None]
    torsion = clean.get("rotor") or clean.get("shaft") or (isinstance(crank, dict) and crank.get("torsion"))
    if outlet or torsion:
        what = f"engine.load.{outlet[0]}" if outlet else "[[rotor]] tables or engine.crank.torsion"
        report(("run", "held_by"), "governor", f"acts on the crank itself, which does not go with {what}")
