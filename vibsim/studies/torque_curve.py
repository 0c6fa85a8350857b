"""Mean brake torque and power over crank speed and load, and how unevenly the crank pulls, charged and uncharged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vibsim.engine.cycle_setup import by_compression, cycle_gas
from vibsim.engine.load_target import at_load
from vibsim.engine.operating_point import OperatingPoint, operating_point
from vibsim.engine.traces import measured_index
from vibsim.inputs.case_checks import SLOWEST_CYCLE
from vibsim.inputs.charging_models import Charged, NoCharging
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import CycleGas, Engine, Run, TraceGas
from vibsim.post.torque import Ripple, ripple_of
from vibsim.solver.crank_torque import torque_course
from vibsim.solver.packed import pack
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.boost import RPM, keeping, round_speeds
from vibsim.studies.charging_choices import UNCHARGED, choices, with_charging

LOADS = (0.25, 0.5, 0.75, 1.0)
LEFT_OUT = (
    "the torque over a cycle is that at constant crank speed on a still block; runs of the demo cases, whose cranks "
    "speed up and slow down, swing 1 to 3 % less"
)
PARABOLA = "a peak between points is that of the parabola through the three highest"


@dataclass(frozen=True)
class TorquePoint:
    """Crank speed rad/s; mean brake torque N m and the ripple about it at the flywheel; brake mean pressure Pa;
    `state` of the whole engine, None where the pressures are not of the working cycle."""

    speed: float
    torque: float
    mean_pressure: float
    ripple: Ripple
    state: OperatingPoint | None

    @property
    def power(self) -> float:
        """W."""
        return self.torque * self.speed


@dataclass(frozen=True)
class Peak:
    """The greatest of a curve: crank speed rad/s and value; `inside` whether it lies between the curve's ends."""

    speed: float
    value: float
    inside: bool


@dataclass(frozen=True, eq=False)
class TorqueLine:
    """One source of charging at one load over crank speeds (n) rad/s."""

    source: str
    load: float
    points: tuple[TorquePoint, ...]

    @property
    def speeds(self) -> np.ndarray:
        return self.values(lambda point: point.speed)

    @property
    def torque(self) -> np.ndarray:
        return self.values(lambda point: point.torque)

    @property
    def power(self) -> np.ndarray:
        return self.values(lambda point: point.power)

    def values(self, of: Callable[[TorquePoint], float]) -> np.ndarray:
        """Something of every point (n)."""
        return np.array([of(point) for point in self.points])


@dataclass(frozen=True)
class NoLoad:
    """Brake torque (N m) at a crank speed (rad/s) with the load at 0 and with the fuel cut at that; None where load
    has no say, or no steady point was found."""

    speed: float
    idle: float | None
    cut: float | None


@dataclass(frozen=True, eq=False)
class TorqueCurves:
    """Lines of the case as given, from its greatest load down, then other ways of charging at full load. `margin` in
    octane numbers that the burn is set for, None where it is not."""

    speeds: np.ndarray
    margin: float | None
    own: str
    follows_load: bool
    lines: tuple[TorqueLine, ...]
    without_load: tuple[NoLoad, ...]
    notes: tuple[str, ...]

    @property
    def main(self) -> TorqueLine:
        """The case as given at its greatest load."""
        return self.lines[0]


def torque_curves(
    case_file: CaseFile,
    speeds: np.ndarray | None = None,
    loads: list[float] | None = None,
    charging: bool = False,
    margin: float | None = None,
    progress: Progress = no_progress,
) -> TorqueCurves:
    """Torque over speeds (rad/s; default a usual range, of a folder of traces its own) at loads (0 to 1; default
    LOADS, or those measured). A charged engine is also run uncharged at full load; with `charging` every source is.
    `margin` octane numbers are kept by a later burn (default those of engine.gas.knock_margin).

    Raises InputError for what cannot be, VibsimError where no steady point is found.
    """
    engine = _engine(case_file)
    case_file = _prepared(case_file, margin)
    speeds = _default_speeds(case_file) if speeds is None else np.unique(speeds)
    if isinstance(engine.gas, CycleGas) and speeds[0] < SLOWEST_CYCLE:
        least = f"the working cycle needs at least {SLOWEST_CYCLE * RPM:.0f} rpm"
        raise InputError(f"--speeds-rpm: got {speeds[0] * RPM:g}; {least}")
    wanted = _wanted(case_file, _loads(case_file, loads), charging)
    lines: list[TorqueLine] = []
    total = len(wanted) * len(speeds)
    for source, case, load in wanted:
        points = []
        for speed in speeds:
            points.append(_found(source, case, float(speed), load))
            progress("operating points", len(lines) * len(speeds) + len(points), total)
        lines.append(TorqueLine(source, load, tuple(points)))
    without, notes = _without_load(case_file, speeds)
    if charging:
        notes = (_others(wanted, engine.charging.source), *notes)
    gas = _engine(case_file).gas
    kept = gas.knock_margin if isinstance(gas, CycleGas) else None
    own = engine.charging.source
    return TorqueCurves(speeds, kept, own, follows_load(engine), tuple(lines), without, notes)


def _found(source: str, case: CaseFile, speed: float, load: float) -> TorquePoint:
    try:
        return torque_point(case, speed, load)
    except InputError:  # names the key
        raise
    except VibsimError as error:
        charging = "" if source == UNCHARGED else f", charging {source}"
        raise VibsimError(f"{speed * RPM:.0f} rpm, load {load:g}{charging}: {error}") from None


def torque_point(case_file: CaseFile, speed: float, load: float) -> TorquePoint:
    """One point; the mean is that of the working cycle where there is one, else of the course."""
    packed = pack(_at(case_file, speed, load).case, case_file.folder)
    engine, layout = _engine(case_file), packed.layout
    assert layout is not None
    ripple = ripple_of(torque_course(packed, speed).net, packed.cycle)
    state = packed.point
    if state is None and isinstance(engine.gas, CycleGas):
        state = operating_point(engine, case_file.folder, speed, load)
    torque = ripple.mean if state is None else state.brake_torque
    return TorquePoint(speed, torque, torque * layout.cycle / layout.swept_volume, ripple, state)


def _at(case_file: CaseFile, speed: float, load: float) -> CaseFile:
    """The case as a steady run at a point, whatever its run asks for."""
    run = at_load(case_file.case.run or Run(speed=speed), load)
    run = run.model_copy(update={"kind": "steady", "speed": speed})
    return replace(case_file, case=case_file.case.model_copy(update={"run": run}))


def follows_load(engine: Engine) -> bool:
    """Whether a load changes the pressures: not of motored gas or a single trace, nor at a given intake pressure."""
    gas = engine.gas
    if isinstance(gas, CycleGas):
        return by_compression(gas) or gas.intake_pressure is None
    return isinstance(gas, TraceGas) and gas.folder is not None


def peak_of(speeds: np.ndarray, values: np.ndarray) -> Peak:
    """The greatest value (n) over speeds (n): of the parabola through the three points about the greatest one, or that
    one at an end."""
    top = int(np.argmax(values))
    if not 0 < top < len(values) - 1:
        return Peak(float(speeds[top]), float(values[top]), False)
    near = slice(top - 1, top + 2)
    a, b, c = np.polyfit(speeds[near] - speeds[top], values[near], 2)
    shift = -b / (2.0 * a) if a < 0.0 else 0.0
    return Peak(float(speeds[top] + shift), float(c + shift * (b + a * shift)), True)


def _engine(case_file: CaseFile) -> Engine:
    engine = case_file.case.engine
    if engine is None:
        raise InputError("engine: is missing; torque needs an [engine] table")
    if engine.gas.source == "none":
        raise InputError("engine.gas.source: got 'none'; torque needs the pressure of 'cycle', 'trace' or 'motored'")
    return engine


def _prepared(case_file: CaseFile, margin: float | None) -> CaseFile:
    """The case with its burn set for a knock margin, if one is given."""
    if margin is None:
        return case_file
    gas = _engine(case_file).gas
    if not isinstance(gas, CycleGas):
        raise InputError(
            f"--knock-margin: got {margin:g}; needs engine.gas.source = 'cycle', whose burn can be later; it is "
            f"{gas.source!r}"
        )
    if by_compression(gas):
        raise InputError(f"--knock-margin: got {margin:g}; a diesel does not knock; leave it out")
    return keeping(case_file, margin)


def _default_speeds(case_file: CaseFile) -> np.ndarray:
    engine = _engine(case_file)
    usual = round_speeds(engine.stroke)
    if not isinstance(engine.gas, TraceGas) or engine.gas.folder is None:
        return usual
    measured = np.array([row.speed for row in measured_index(engine, case_file.folder)])
    between = (usual > measured.min()) & (usual < measured.max())
    together = np.concatenate([measured, usual[between]])
    return together[np.unique(np.round(together, 3), return_index=True)[1]]


def _loads(case_file: CaseFile, given: list[float] | None) -> list[float]:
    """From the greatest down."""
    engine = _engine(case_file)
    if not follows_load(engine):
        if given is not None:
            has = "engine.gas.intake_pressure" if isinstance(engine.gas, CycleGas) else "engine.gas.source"
            raise InputError(f"--load: got {given[0]:g}; load has no say in this case's pressures: see {has}")
        return [1.0]
    if given is None and isinstance(engine.gas, TraceGas):
        given = [row.load for row in measured_index(engine, case_file.folder)]
    return sorted(set(LOADS if given is None else given), reverse=True)


def _wanted(case_file: CaseFile, loads: list[float], charging: bool) -> list[tuple[str, CaseFile, float]]:
    """Source, case and load of every line."""
    own = _engine(case_file).charging.source
    found = [(own, case_file, load) for load in loads]
    if charging:
        others = choices(case_file)
    else:
        others = {} if own == UNCHARGED else {UNCHARGED: with_charging(case_file, NoCharging())}
    more = [(source, case, 1.0) for source, case in others.items() if source != own or 1.0 not in loads]
    return found + more


def _others(wanted: list[tuple[str, CaseFile, float]], own: str) -> str:
    """What was assumed of charging that the case does not have."""
    tables = [_engine(case).charging for source, case, _ in wanted if source not in (own, UNCHARGED)]
    given = next(table for table in tables if isinstance(table, Charged))
    ratio, boost = given.pressure_ratio, given.boost_pressure
    target = f"a pressure ratio of {ratio:g}" if boost is None else f"{1e-3 * boost:g} kPa above ambient"
    return f"charging that the case does not have is by usual small machines, set for {target}"


def _without_load(case_file: CaseFile, speeds: np.ndarray) -> tuple[tuple[NoLoad, ...], tuple[str, ...]]:
    """Torque at load 0 and with the fuel cut, at the lowest, middle and highest speed; notes where none was found."""
    engine, notes = _engine(case_file), []
    if not isinstance(engine.gas, CycleGas):
        return (), ()
    cut = engine.model_copy(update={"gas": cycle_gas(engine).model_copy(update={"fuel_cut": True})})

    def found(one: Engine, speed: float, words: str) -> float | None:
        try:
            return operating_point(one, case_file.folder, speed, 0.0).brake_torque
        except VibsimError as error:
            notes.append(f"{words} at {speed * RPM:.0f} rpm: {error}")
            return None

    rows = []
    for speed in map(float, np.unique(speeds[[0, len(speeds) // 2, -1]])):
        idle = found(engine, speed, "no torque at load 0") if follows_load(engine) else None
        rows.append(NoLoad(speed, idle, found(cut, speed, "no torque with the fuel cut")))
    return tuple(rows), tuple(notes)
