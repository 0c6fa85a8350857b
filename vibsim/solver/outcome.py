"""What came of a step: whether the engine started, idles, got where it should, stopped, and by what work."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case
from vibsim.inputs.step_models import Step
from vibsim.inputs.steps import is_prescribed
from vibsim.solver.last_cycles import Excerpt
from vibsim.solver.observe import Observed
from vibsim.solver.packed import Packed
from vibsim.solver.road_course import RoadCourse, road_words

RPM = 30.0 / math.pi  # per rad/s
HELD = 0.05  # of idle speed: a mean further off is not held
STARTED = 0.7  # of idle speed: an engine slower than that has not started
TURNS_OVER = 5.0  # rad/s; slower than that on the mean, a starter does not turn the engine over
AT_REST = 1.0  # rad/s, over which dry friction changes sign: slower is as good as standing
LAST = 0.25  # of a step, that it is judged by


TORQUES = (
    "gas_torque",
    "inertia_torque",
    "load_torque",
    "friction_torque",
    "accessory_torque",
    "starter_torque",
)


@dataclass
class Course:
    """A step so far: work (J) of each torque over the crank's turning, by the trapezoid in angle; time, crank angle and
    speed and starter current, all of them or those of its first and last stretch."""

    keeps_all: bool
    time: list[np.ndarray] = field(default_factory=list)
    angle: list[np.ndarray] = field(default_factory=list)
    speed: list[np.ndarray] = field(default_factory=list)
    current: list[np.ndarray] = field(default_factory=list)
    work: dict[str, float] = field(default_factory=dict)
    ends: dict[str, float] = field(default_factory=dict)
    road: RoadCourse = field(default_factory=RoadCourse)

    def take(self, time: np.ndarray, seen: Observed) -> None:
        """Add a stretch of the record."""
        angle = seen.crank_angle
        self.road.take(seen.parts)
        for name in TORQUES:
            torque = getattr(seen, name)
            if torque is None:
                continue
            work = float(np.sum(0.5 * (torque[1:] + torque[:-1]) * np.diff(angle)))
            if name in self.ends:
                work += 0.5 * (self.ends[name] + float(torque[0])) * float(angle[0] - self.angle[-1][-1])
            self.work[name] = self.work.get(name, 0.0) + work
            self.ends[name] = float(torque[-1])
        pieces = [(self.time, time), (self.angle, angle), (self.speed, seen.crank_speed)]
        if seen.starter_current is not None:
            pieces.append((self.current, seen.starter_current))
        for kept, values in pieces:
            if not self.keeps_all:
                del kept[1:]
            kept.append(values)

    def whole(self) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Times (n) and what is kept, by name."""
        named = {"crank_angle": self.angle, "crank_speed": self.speed, "starter_current": self.current}
        return np.concatenate(self.time), {name: np.concatenate(kept) for name, kept in named.items() if kept}


@dataclass(frozen=True)
class Outcome:
    """A step from `begin` to `end` (s): its kind, figures by name with units in the name, doubts in lines, the cycles
    that it ended with."""

    kind: str
    begin: float
    end: float
    figures: dict[str, float | str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    excerpt: Excerpt | None = None


def judge(case: Case, step: Step, index: int, begin: float, course: Course, packed: Packed) -> Outcome:
    """The outcome of a step from its course. Raises RunFailure for what did not come off."""
    time, seen = course.whole()
    angle, speed = seen["crank_angle"], seen["crank_speed"]
    figures: dict[str, float | str] = {
        "first_speed_rad_per_s": float(speed[0]),
        "last_speed_rad_per_s": float(speed[-1]),
        "turns": float(angle[-1] - angle[0]) / (2.0 * math.pi),
    }
    figures |= {f"{name.removesuffix('_torque')}_work_J": work for name, work in course.work.items()}
    warnings: tuple[str, ...] = ()
    if step.kind == "start":
        figures |= _started(case, step, index, time, seen, packed)
    elif step.kind == "idle":
        figures |= _idled(case, index, time, seen, packed)
    elif step.kind == "stop":
        found, warnings = _stopped(time, seen)
        figures |= found
    elif step.kind == "road":
        figures |= _driven(step, time, seen, course.road)
    elif not is_prescribed(step):
        warnings = _reached(step, time, seen)
    return Outcome(step.kind, begin, float(time[-1]), figures, warnings)


def _where(case: Case, index: int) -> str:
    return f"run.step[{index + 1}]: " if case.run is not None and case.run.kind == "programme" else ""


def _tail(time: np.ndarray, seen: dict[str, np.ndarray], packed: Packed) -> slice:
    """The last share of a step, in whole working cycles where there are any."""
    first = int(np.searchsorted(time, time[-1] - LAST * (time[-1] - time[0])))
    angle = seen["crank_angle"]
    cycles = math.floor((angle[-1] - angle[first]) / packed.cycle)
    if cycles >= 1:
        first = int(np.searchsorted(angle, angle[-1] - cycles * packed.cycle))
    return slice(min(first, len(time) - 2), None)


def _mean_speed(time: np.ndarray, seen: dict[str, np.ndarray], tail: slice) -> float:
    angle, span = seen["crank_angle"][tail], time[tail]
    return float((angle[-1] - angle[0]) / (span[-1] - span[0]))


def _started(
    case: Case, step: Step, index: int, time: np.ndarray, seen: dict[str, np.ndarray], packed: Packed
) -> dict[str, float]:
    assert case.engine is not None
    governor, angle = case.engine.governor, seen["crank_angle"] - seen["crank_angle"][0]
    speed = _mean_speed(time, seen, _tail(time, seen, packed))
    fires = 2.0 * math.pi * step.fires_after_turns
    reached = np.flatnonzero(angle >= fires)
    cranking = slice(None, int(reached[0]) + 1 if reached.size else None)
    found = {"cranking_speed_rad_per_s": float(angle[cranking][-1] / max(time[cranking][-1] - time[0], 1e-9))}
    if reached.size:
        found["first_firing_after_s"] = float(time[reached[0]] - time[0])
    if packed.starter is not None:
        found["greatest_starter_current_A"] = float(seen["starter_current"].max())
        found["least_battery_voltage_V"] = packed.starter.voltage - packed.starter.resistance * float(
            seen["starter_current"].max()
        )
        if speed < TURNS_OVER:
            raise RunFailure(
                f"{_where(case, index)}the starter is too weak: the crank stands after {angle[-1] / (2 * math.pi):.2f} "
                f"turns against {packed.starter.stall:.0f} N m at the crank; raise engine.starter.stall_torque or ratio"
            )
    if governor is not None:
        there = np.flatnonzero(seen["crank_speed"] >= governor.speed)
        if there.size:
            found["idle_speed_after_s"] = float(time[there[0]] - time[0])
        found["greatest_speed_rad_per_s"] = float(seen["crank_speed"].max())
        if case.engine.gas.source == "cycle" and speed < STARTED * governor.speed:
            raise RunFailure(
                f"{_where(case, index)}the engine did not start: {speed * RPM:.0f} rpm at the end of the step, idle is "
                f"{governor.speed * RPM:.0f} rpm; a longer duration, engine.starter, engine.governor or engine.load"
            )
    return found


def _idled(case: Case, index: int, time: np.ndarray, seen: dict[str, np.ndarray], packed: Packed) -> dict[str, float]:
    assert case.engine is not None and case.engine.governor is not None
    governor, tail = case.engine.governor, _tail(time, seen, packed)
    mean, speed = _mean_speed(time, seen, tail), seen["crank_speed"][tail]
    if abs(mean - governor.speed) > HELD * governor.speed:
        raise RunFailure(
            f"{_where(case, index)}the governor does not hold {governor.speed * RPM:.0f} rpm: the mean speed is "
            f"{mean * RPM:.0f} rpm at the end of the step; check engine.governor (its gains, and "
            f"{'greatest_opening' if hasattr(governor, 'greatest_opening') else 'greatest_torque'}), engine.load and "
            "engine.accessory, or give the step a longer duration"
        )
    return {
        "mean_speed_rad_per_s": mean,
        "speed_error_rad_per_s": mean - governor.speed,
        "speed_fluctuation": float(np.ptp(speed) / mean),
    }


def _stopped(time: np.ndarray, seen: dict[str, np.ndarray]) -> tuple[dict[str, float], tuple[str, ...]]:
    """When the crank came to rest, how often it turned back before, and how far."""
    speed, angle = seen["crank_speed"], seen["crank_angle"]
    moving = np.flatnonzero(np.abs(speed) > AT_REST)
    rest = float(time[moving[-1]] - time[0]) if moving.size else 0.0
    signs = np.sign(speed[np.abs(speed) > AT_REST])
    found = {
        "crank_at_rest_after_s": rest,
        "reversals": float(np.count_nonzero(np.diff(signs))),
        "turned_back_rad": float(np.max(np.maximum.accumulate(angle) - angle)),
        "rest_angle_rad": float(angle[-1]),
    }
    if moving.size and moving[-1] == len(speed) - 1:
        return found, (
            f"the crank still turns at {speed[-1] * RPM:.0f} rpm as the stop ends; a longer duration shows it at rest",
        )
    return found, ()


def _driven(step: Step, time: np.ndarray, seen: dict[str, np.ndarray], course: RoadCourse) -> dict[str, float | str]:
    """How far and over what, what the wheels felt of it, and the mean crank speed."""
    assert step.road is not None and step.vehicle_speed is not None
    mean = _mean_speed(time, seen, slice(None))
    return {
        "road": road_words(step.road),
        "vehicle_speed_m_per_s": step.vehicle_speed,
        "distance_m": step.vehicle_speed * float(time[-1] - time[0]),
        "mean_speed_rad_per_s": mean,
        "speed_error_rad_per_s": mean - float(seen["crank_speed"][0]),
        **course.figures(),
    }


def _reached(step: Step, time: np.ndarray, seen: dict[str, np.ndarray]) -> tuple[str, ...]:
    speed = float(seen["crank_speed"][-1])
    if step.speed_to is None:
        return ()
    short = speed < 0.98 * step.speed_to if step.kind == "run_up" else speed > 1.02 * step.speed_to
    if not short:
        return ()
    word = step.kind.replace("_", "-")
    return (
        f"the {word} got to {speed * RPM:.0f} rpm in {time[-1] - time[0]:.3g} s, not to {step.speed_to * RPM:.0f} rpm; "
        "give it a longer duration, another load or engine.load",
    )
