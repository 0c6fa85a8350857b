"""Checks of runs of steps that a single key cannot show: what each needs, and speeds that go the wrong way."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]
Where = tuple[str | int, ...]
RPM = 30.0 / math.pi  # per rad/s
STEPPED = ("start", "idle", "run_up", "coast_down", "stop", "programme")
OF_STEPS = ("speed_to", "rate", "driven_inertia", "fuel_cut", "fires_after_turns", "crank_angle", "step")
OF_KIND = {
    "start": ("fires_after_turns", "crank_angle"),
    "idle": (),
    "run_up": ("speed_to", "rate", "speed_is", "driven_inertia", "fuel_cut", "load"),
    "coast_down": ("speed_to", "rate", "speed_is", "driven_inertia", "fuel_cut", "load"),
    "road": ("speed_is", "load", "vehicle_speed", "road"),
    "stop": (),
}
OWN = (
    *("speed_to", "rate", "speed_is", "driven_inertia", "fuel_cut", "fires_after_turns", "crank_angle"),
    *("vehicle_speed", "road", "load"),
)
NEEDED_TABLE = {"misfire": "misfire", "cyclic": "variation"}


def check_steps(clean: dict[str, Any], report: Report) -> None:
    """Report what a run of steps lacks, and its keys in a run of another kind."""
    run, engine = clean.get("run"), clean.get("engine")
    if not isinstance(run, dict):
        return
    engine = engine if isinstance(engine, dict) else {}
    kind = run.get("kind", "steady")
    table = NEEDED_TABLE.get(kind)
    if table is not None and not isinstance(run.get(table), dict):
        report(("run", table), None, f'is missing; kind = "{kind}" needs a [run.{table}] table')
    if kind not in STEPPED:
        _check_other(run, kind, report)
        return
    for key in ("bmep", "torque", "power", "variation", "misfire"):
        if run.get(key) is not None:
            report(("run", key), None, f'goes with a steady or free run, not with kind = "{kind}"')
    _check_starter(engine.get("starter"), report)
    check_governor(engine, report)
    if kind != "programme":
        if run.get("step"):
            report(("run", "step"), None, 'goes with kind = "programme"')
        _check_step(run, kind, ("run",), _first_speed(run, kind, engine, report), engine, report)
        return
    _check_programme(run, engine, report)


def _check_other(run: dict[str, Any], kind: Any, report: Report) -> None:
    for key in OF_STEPS:
        if key in run:
            report(("run", key), None, "goes with a run-up, coast-down, start, stop, idle or programme")
    if run.get("speed_is") is not None and kind not in ("steady", "misfire", "cyclic", "road"):
        report(("run", "speed_is"), run["speed_is"], "goes with a steady run, a run-up or a coast-down")
    if run.get("speed") is None and run.get("held_by") != "governor":
        report(("run", "speed_rpm"), None, "is missing")


def _check_programme(run: dict[str, Any], engine: dict[str, Any], report: Report) -> None:
    steps = run.get("step")
    if not isinstance(steps, tuple) or not steps:
        report(("run", "step"), None, "is missing; a programme needs [[run.step]] tables, one after the other")
        return
    for key in ("load", "duration", *OWN[:-1]):
        if key in run:
            report(("run", key), None, "belongs to the steps of a programme")
    first = steps[0].get("kind") if isinstance(steps[0], dict) else None
    speed, before = _first_speed(run, first, engine, report), None
    for index, step in enumerate(steps):
        if not isinstance(step, dict):
            continue
        where: Where = ("run", "step", index)
        if before == "stop" and step.get("kind") != "start":
            report((*where, "kind"), step.get("kind"), "the crank stands after a stop; allowed: start")
        if step.get("load") is not None and not _throttled(engine):
            report(
                (*where, "load"),
                step["load"],
                'a programme changes the load by the throttle, which needs [engine.governor] with acts_on = "throttle"',
            )
        speed, before = _check_step(step, step.get("kind"), where, speed, engine, report), step.get("kind")


def _first_speed(run: dict[str, Any], kind: Any, engine: dict[str, Any], report: Report) -> float | None:
    """Crank speed (rad/s) that the first step begins with."""
    speed = _number(run, "speed")
    if kind == "start":
        if speed:
            report(("run", "speed"), f"{speed * RPM:g} rpm", "a start begins at rest; leave it out")
        return 0.0
    governed = _number(engine.get("governor"), "speed")
    if speed is None and (governed is None or kind in ("run_up", "coast_down")):
        report(("run", "speed_rpm"), None, "is missing; the run begins at this crank speed")
        return None
    if speed is not None and speed <= 0.0:
        report(("run", "speed"), f"{speed * RPM:g} rpm", f"a {str(kind).replace('_', '-')} needs a speed above 0")
        return None
    return governed if speed is None else speed


def _check_step(
    step: dict[str, Any], kind: Any, where: Where, speed: float | None, engine: dict[str, Any], report: Report
) -> float | None:
    """Check one step that begins at a crank speed (rad/s); returns the one it ends with, None if unknown."""
    if kind not in OF_KIND:
        return None
    for key in OWN:
        if key in step and key not in OF_KIND[kind]:
            report((*where, key), None, f"does nothing in a step of kind {kind}")
    governed = _number(engine.get("governor"), "speed")
    if kind == "start" and not isinstance(engine.get("starter"), dict):
        report(("engine", "starter"), None, "is missing; a start needs an [engine.starter] table")
    if kind == "idle" and governed is None:
        report(("engine", "governor"), None, "is missing; an idle run needs an [engine.governor] table")
    _check_fuel(step, kind, where, engine, report)
    if kind in ("run_up", "coast_down"):
        return _check_ramp(step, kind, where, speed, report)
    if kind == "road":
        return speed
    return governed if kind in ("start", "idle") else 0.0


def _check_fuel(step: dict[str, Any], kind: str, where: Where, engine: dict[str, Any], report: Report) -> None:
    gas = engine.get("gas")
    source = gas.get("source", "none") if isinstance(gas, dict) else "none"
    if source == "trace" and (kind in ("start", "stop") or step.get("fuel_cut")):
        what = "fuel_cut" if kind in ("run_up", "coast_down") else "kind"
        report((*where, what), step.get(what), "needs gas without fire, which engine.gas.source 'cycle' computes")


def _check_ramp(step: dict[str, Any], kind: str, where: Where, speed: float | None, report: Report) -> float | None:
    to, rate = _number(step, "speed_to"), _number(step, "rate")
    said = step.get("speed_is")
    prescribed = said == "prescribed" or (said is None and step.get("rate") is not None)
    name = kind.replace("_", "-")
    if to is None and (kind == "run_up" or prescribed) and step.get("speed_to") is None:
        report((*where, "speed_to_rpm"), None, f"is missing; a {name} needs the speed it goes to")
    if prescribed and step.get("rate") is None:
        report((*where, "rate_rpm_per_s"), None, "is missing; a prescribed speed changes at a rate")
    if said == "free" and step.get("rate") is not None:
        report((*where, "rate"), None, 'goes with speed_is = "prescribed"; a free crank finds its own')
    if prescribed and _number(step, "driven_inertia"):
        report((*where, "driven_inertia"), None, 'goes with speed_is = "free"; a prescribed speed does not feel it')
    if to is None or speed is None:
        return to
    if (to <= speed) if kind == "run_up" else (to >= speed):
        side = "above" if kind == "run_up" else "below"
        allowed = f"a {name} from {speed * RPM:.4g} rpm needs a speed {side} that"
        report((*where, "speed_to"), f"{to * RPM:.4g} rpm", allowed)
        return to
    duration = _number(step, "duration")
    if prescribed and rate and duration is not None and duration < (1.0 - 1e-9) * abs(to - speed) / rate:
        needed = abs(to - speed) / rate
        report((*where, "duration"), f"{duration:g} s", f"at this rate the {name} takes {needed:.4g} s; leave it out")
    return to


def _check_starter(starter: Any, report: Report) -> None:
    """The battery must carry the motor's current at rest: k·I = stall torque, k = U/ω₀ (see solver.driven)."""
    torque, speed = _number(starter, "stall_torque"), _number(starter, "no_load_speed")
    voltage = _number(starter, "battery_voltage") or 12.6
    resistance = _number(starter, "battery_resistance")
    if torque is None or speed is None or resistance is None:
        return
    current = torque * speed / voltage
    if resistance * current >= voltage:
        report(
            ("engine", "starter", "battery_resistance"),
            f"{1e3 * resistance:g} mohm",
            f"at rest the motor draws {current:.0f} A, which leaves it no voltage; must be below "
            f"{1e3 * voltage / current:.3g} mohm",
        )


def _throttled(engine: dict[str, Any]) -> bool:
    governor = engine.get("governor")
    charging = engine.get("charging")
    charged = isinstance(charging, dict) and charging.get("source", "none") != "none"
    return charged or (isinstance(governor, dict) and governor.get("acts_on", "throttle") == "throttle")


def check_governor(engine: dict[str, Any], report: Report) -> None:
    """Report gas that a governor of the throttle does not act on."""
    governor, gas = engine.get("governor"), engine.get("gas")
    if not isinstance(governor, dict) or governor.get("acts_on", "throttle") != "throttle":
        return
    gas = gas if isinstance(gas, dict) else {}
    where, other = ("engine", "governor", "acts_on"), 'allowed here: "torque"'
    if gas.get("source", "none") != "cycle":
        report(where, "throttle", f"needs engine.gas.source 'cycle', which knows a throttle; {other}")
    elif gas.get("fuel") == "diesel":
        report(where, "throttle", f"a diesel has no throttle; {other}")
    elif engine.get("strokes") == 2:
        report(where, "throttle", f"needs a four-stroke, which draws its charge by a throttle; {other}")
    elif gas.get("intake_pressure") is not None:
        report(("engine", "gas", "intake_pressure"), None, "goes without a throttle that is governed, which finds it")


def _number(table: Any, key: str) -> float | None:
    value = table.get(key) if isinstance(table, dict) else None
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if good else None  # type: ignore[arg-type]
