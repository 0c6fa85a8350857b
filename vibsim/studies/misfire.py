"""Whether a misfire shows in the crank's speed: its dip against the normal scatter of cycles, over speed and load.

Two runs at every point, of the same cyclic variation and seed: all cycles burning, and one cylinder that misfires once
in so many cycles. The change of mean speed over the cylinder's stroke, as a tooth wheel and a timer see it, is
compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.layout import Layout, resolve_layout
from vibsim.inputs.errors import InputError, RunFailure, VibsimError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import CycleGas, Engine, Run
from vibsim.inputs.variation_models import Misfire, Variation
from vibsim.post.detection import BEFORE, Detection, detection_of, speed_changes
from vibsim.post.tooth_wheel import Wheel
from vibsim.results.labelled import Group
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import run_at
from vibsim.studies.run import run_case

USUAL_SPEEDS = (0.5, 0.75, 1.0, 1.25)  # of the run's
USUAL_LOADS: tuple[float | None, ...] = (0.2, None, 1.0)  # None that of the run
EVERY = 5  # one cycle in so many misfires
USUAL_WHEEL = Wheel(60, 2, 1e6)
USUAL_VARIATION = Variation(coefficient_of_variation=0.03)
RPM = 30.0 / math.pi
BURNS = (math.radians(20.0), math.radians(70.0))  # after top dead centre, where the pressure tells burning


@dataclass(frozen=True)
class Visibility:
    """One operating point: crank speed rad/s, load, what was detected."""

    speed: float
    load: float
    found: Detection


@dataclass(frozen=True)
class MisfireStudy:
    """Points of one cylinder; the wheel and the variation they hold for; notes on what was assumed."""

    cylinder: str
    wheel: Wheel
    variation: Variation
    points: tuple[Visibility, ...]
    notes: tuple[str, ...]


def misfire_visibility(
    case_file: CaseFile,
    speeds: list[float],
    loads: list[float | None],
    cylinder: str | None = None,
    cycles: int = 100,
    progress: Progress = no_progress,
) -> MisfireStudy:
    """Detection of a misfire of one cylinder (default the first that fires) at every speed (rad/s) and load (0 to 1,
    None as given), from so many cycles.

    Of several points those whose runs fail are left out and noted. Raises InputError for a case that does not burn or a
    cylinder there is none of, RunFailure when no run succeeds.
    """
    engine, run = _engine(case_file), case_file.case.run
    layout = resolve_layout(engine)
    names = [item.name for item in layout.cylinders]
    cylinder = layout.firing_sequence()[0][0] if cylinder is None else cylinder
    if cylinder not in names:
        raise InputError(f"--cylinder: got {cylinder!r}; {nearest(cylinder, names)}")
    notes = []
    given = engine.tooth_wheel
    wheel = USUAL_WHEEL if given is None else Wheel(given.teeth, given.missing, given.clock, given.first_edge)
    if given is None:
        notes.append("engine.tooth_wheel: none given, taken as 60 places with 2 missing and a clock of 1 MHz")
    variation = USUAL_VARIATION if run is None or run.variation is None else run.variation
    if run is None or run.variation is None:
        notes.append("run.variation: none given, taken as 3 % of the gross indicated mean pressure, lognormal, seed 1")
    points = []
    places = [(speed, load) for speed in speeds for load in loads]
    for n, (speed, load) in enumerate(places, 1):
        try:
            points.append(_point(case_file, layout, (speed, load), cylinder, (variation, wheel), cycles))
        except RunFailure as error:
            if n == len(places) and not points:
                raise
            at = "" if load is None else f", load {load:g}"
            notes.append(f"left out, {speed * RPM:.0f} rpm{at}: {str(error).split(';')[0]}")
        progress("operating points", n, len(places))
    return MisfireStudy(cylinder, wheel, variation, tuple(points), tuple(notes))


def _point(
    case_file: CaseFile,
    layout: Layout,
    place: tuple[float, float | None],
    cylinder: str,
    seen: tuple[Variation, Wheel],
    cycles: int,
) -> Visibility:
    variation, wheel = seen
    speed, load = place
    duration = (cycles + 3) * layout.cycle / speed
    at = run_at(case_file, speed, load, duration=duration, variation=variation, misfire=None)
    run = at.case.run
    assert run is not None
    missing = Misfire(cylinder=cylinder, every=EVERY)
    both = [run_case(at), run_case(_changed(at, run.model_copy(update={"misfire": missing})))]
    index = [item.name for item in layout.cylinders].index(cylinder)
    firing = layout.cylinders[index].firing % layout.cycle
    try:
        plain, broken = (_changes(results, firing, layout.cycle, wheel) for results in both)
        misfired = misfired_cycles(both[1], index, firing, layout.cycle, len(broken))
        found = detection_of(plain, broken[misfired])
    except ValueError as error:
        raise VibsimError(f"{speed * RPM:.0f} rpm: {error}; give more --cycles or a finer wheel") from None
    return Visibility(speed, float(both[0].attributes["load"]), found)


def _changes(results: Group, firing: float, cycle: float, wheel: Wheel) -> np.ndarray:
    return speed_changes(results["time"], results["crank_angle"], results["crank_speed"], firing, cycle, wheel)


def misfired_cycles(results: Group, cylinder: int, firing: float, cycle: float, count: int) -> np.ndarray:
    """Which of the cycles that `speed_changes` gives (count) a cylinder did not burn in, by its mean pressure 20° to
    70° past its firing top dead centre at `firing` (rad) of the cycle: nearer the least of them than the greatest."""
    angle, pressure = results["crank_angle"], results["cylinder_pressure"][:, cylinder]
    first = math.ceil((angle[0] - firing - BEFORE[0]) / cycle)
    values = np.empty(count)
    for n in range(count):
        low, high = np.searchsorted(angle, (first + n) * cycle + firing + np.array(BURNS))
        values[n] = pressure[low : max(high, low + 1)].mean()
    return values < 0.5 * (values.min() + values.max())


def _changed(case_file: CaseFile, run: Run) -> CaseFile:
    return replace(case_file, case=case_file.case.model_copy(update={"run": run}))


def _engine(case_file: CaseFile) -> Engine:
    engine = case_file.case.engine
    if engine is None:
        raise InputError("engine: is missing; misfire needs an [engine] table")
    if not isinstance(engine.gas, CycleGas) or engine.gas.fuel_cut:
        got = "fuel_cut = true" if isinstance(engine.gas, CycleGas) else repr(engine.gas.source)
        raise InputError(f"engine.gas: got {got}; misfire needs source 'cycle' with fuel to burn")
    return engine


def verdict(study: MisfireStudy) -> str:
    """Where a misfire shows, and where least."""
    count = {word: [p for p in study.points if p.found.word == word] for word in ("clear", "doubtful", "hidden")}
    worst = min(study.points, key=lambda point: point.found.index)
    least = f"index {worst.found.index:.1f} at {worst.speed * RPM:.0f} rpm, load {worst.load:.3g}"
    if len(study.points) == 1:
        return f"a misfire of cylinder {study.cylinder} is {worst.found.word}: {least}"
    if len(count["clear"]) == len(study.points):
        return f"a misfire of cylinder {study.cylinder} is clear at all {len(study.points)} points; least: {least}"
    parts = ", ".join(f"{word} at {len(found)}" for word, found in count.items() if found)
    return f"a misfire of cylinder {study.cylinder} is {parts} of {len(study.points)} points; least: {least}"


def as_dict(study: MisfireStudy) -> dict[str, Any]:
    """What `--json` prints."""
    return {
        "verdict": verdict(study),
        "cylinder": study.cylinder,
        "wheel": {"teeth": study.wheel.teeth, "missing": study.wheel.missing, "clock_Hz": study.wheel.clock},
        "coefficient_of_variation": study.variation.coefficient_of_variation,
        "points": [
            {
                "speed_rpm": point.speed * RPM,
                "load": point.load,
                "index": point.found.index,
                "index_standard_deviation": point.found.deviation,
                "dip_rpm": point.found.dip * RPM,
                "scatter_rpm": point.found.scatter * RPM,
                "cycles_burning": point.found.burning,
                "cycles_misfiring": point.found.misfiring,
                "visible": point.found.word,
            }
            for point in study.points
        ],
        "notes": list(study.notes),
    }
