"""Runs made of steps: which they are, their steps, and the speed that the rest of a case refers to."""

from __future__ import annotations

from vibsim.inputs.models import Case, CycleGas, Run
from vibsim.inputs.programme_checks import STEPPED
from vibsim.inputs.starting_models import ThrottleGovernor
from vibsim.inputs.step_models import Step, StepKeys

ALIKE = {"misfire": "steady", "cyclic": "steady"}  # steady runs that need their table
DURATIONS = {
    "start": 2.0,
    "idle": 2.0,
    "run_up": 10.0,
    "coast_down": 10.0,
    "road": 10.0,
    "stop": 3.0,
}  # s, where none is given


def stepped(run: Run) -> bool:
    """Whether a run is one of steps, or a step by itself."""
    return run.kind in STEPPED


def steps_of(run: Run) -> tuple[Step, ...]:
    """The steps of a run of steps."""
    if run.kind == "programme":
        return run.step
    given = {key: getattr(run, key) for key in StepKeys.model_fields}
    given["load"] = run.load if "load" in run.model_fields_set else None
    given["duration"] = run.duration if "duration" in run.model_fields_set else None
    return (Step.model_construct(None, kind=run.kind, **given),)


def is_prescribed(step: StepKeys) -> bool:
    """Whether the crank's speed is met exactly at every moment."""
    return step.speed_is == "prescribed" or (step.speed_is is None and step.rate is not None)


def load_of(step: Step) -> float:
    """Load of a step: full in a run-up and over a road, none in a coast-down, where none is given."""
    if step.load is not None:
        return step.load
    return 1.0 if step.kind in ("run_up", "road") else 0.0


def duration_of(step: Step, speed: float) -> float:
    """Seconds of a step that begins at a crank speed (rad/s); a free run-up or coast-down may end before."""
    if step.duration is not None:
        return step.duration
    if step.rate is not None and step.speed_to is not None and is_prescribed(step):
        return abs(step.speed_to - speed) / step.rate
    return DURATIONS[step.kind]


def made_ready(case: Case) -> Case:
    """The case with a run of steps at the speed that its operating point refers to: the one it begins at, that of its
    governor, or the greatest of the steps; kinds that are others with a table they need, as those."""
    run = case.run
    if run is None:
        return case
    if run.kind in ALIKE:
        return case.model_copy(update={"run": run.model_copy(update={"kind": ALIKE[run.kind]})})
    if run.clutch is not None and run.kind == "load_step":
        after = run.load if run.load_after is None else run.load_after
        return case.model_copy(update={"run": run.model_copy(update={"hold_speed": False, "load_after": after})})
    if run.held_by == "governor" and not stepped(run) and case.engine is not None and case.engine.governor is not None:
        return case.model_copy(update={"run": run.model_copy(update={"speed": case.engine.governor.speed})})
    if not stepped(run):
        return case
    steps = steps_of(run)
    update: dict[str, float] = {}
    if not run.speed:
        governor = case.engine.governor if case.engine else None
        others = [step.speed_to for step in steps if step.speed_to]
        update["speed"] = governor.speed if governor else max(others, default=100.0)
    if run.kind != "programme":
        update["load"] = load_of(steps[0])
    return case.model_copy(update={"run": run.model_copy(update=update)})


def throttled(case: Case) -> bool:
    """Whether throttle and intake are part of a run of steps."""
    run, engine = case.run, case.engine
    if run is None or engine is None or not isinstance(engine.gas, CycleGas):
        return False
    if not stepped(run):
        return run.held_by == "governor" and isinstance(engine.governor, ThrottleGovernor)
    return isinstance(engine.governor, ThrottleGovernor) or engine.charging.source != "none"


def goes_unfired(case: Case) -> bool:
    """Whether a run of steps has cycles in which nothing burns, of gas that knows them."""
    run, engine = case.run, case.engine
    if run is None or engine is None or not stepped(run) or not isinstance(engine.gas, CycleGas):
        return False
    return any(step.kind in ("start", "stop") or step.fuel_cut for step in steps_of(run))
