"""A case whose run goes through several speeds, as steady at one of them: what studies at one point take."""

from __future__ import annotations

import math
from dataclasses import replace

from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case, Run
from vibsim.inputs.step_models import Step, StepKeys
from vibsim.inputs.steps import duration_of, load_of, stepped, steps_of

RPM = 30.0 / math.pi  # per rad/s
STEADY = ("idle", "road")


def at_steady_step(case_file: CaseFile) -> tuple[CaseFile, tuple[str, ...]]:
    """The case as a steady run at its longest step that holds a speed, else where its first fired run-up or coast-down
    ends or begins, with a line that says so; others unchanged, without one."""
    case = case_file.case
    if case.run is None or case.engine is None or not stepped(case.run):
        return case_file, ()
    number, step, speed = steady_step(case)
    update = {key: field.get_default() for key, field in StepKeys.model_fields.items()}
    update |= {"kind": "steady", "speed": speed, "load": load_of(step), "step": (), "road": None, "vehicle_speed": None}
    found = replace(case_file, case=case.model_copy(update={"run": case.run.model_copy(update=update)}))
    where = f"step {number}, {_word(step)}" if case.run.kind == "programme" else f"the {_word(step)}"
    return found, (f"the run goes through several speeds; taken as steady at {speed * RPM:.0f} rpm, as in {where}",)


def steady_step(case: Case) -> tuple[int, Step, float]:
    """Number (from 1) of the step that stands for a run of steps, the step, and its crank speed (rad/s)."""
    run = case.run
    assert run is not None
    found: list[tuple[float, int, Step, float]] = []
    fired: list[tuple[int, Step, float]] = []
    for number, (step, begin, end) in enumerate(speeds_through(case, run), start=1):
        if step.kind in STEADY:
            found.append((duration_of(step, begin), number, step, end))
        elif not step.fuel_cut and step.kind != "stop":
            fired.append((number, step, max(begin, end)))
    if found:
        _, number, step, speed = max(found, key=lambda item: item[0])
        return number, step, speed
    return fired[0] if fired else (1, steps_of(run)[0], max(run.speed, *(b for _, b, _ in speeds_through(case, run))))


def speeds_through(case: Case, run: Run) -> list[tuple[Step, float, float]]:
    """Every step with the crank speeds (rad/s) that it begins and is meant to end with."""
    governor = case.engine.governor if case.engine else None
    idle = governor.speed if governor else 0.0
    speed, found = run.speed or idle, []
    for step in steps_of(run):
        begin = 0.0 if step.kind == "start" else speed
        if step.kind in ("start", "idle"):
            speed = idle
        elif step.kind == "stop":
            speed = 0.0
        elif step.speed_to is not None:
            speed = step.speed_to
        found.append((step, begin, speed))
    return found


def _word(step: Step) -> str:
    return step.kind.replace("_", "-")
