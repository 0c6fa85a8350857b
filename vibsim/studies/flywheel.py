"""The flywheel that keeps the crank's speed within a wanted fluctuation, and a run that proves it.

First the energy excess of the exact torque over a cycle at constant speed (gas + inertia − losses − load):
I = ΔE/(ω²·Cs) (Khurmi & Gupta, Theory of Machines, ch. 16). Then the crank speeds up and slows down on a still block:
½·(C(θ) + ΔI)·ω² = E + ∫(gas − losses − load) dθ, E set for the mean speed (derived: energy of the crank train), and
the inertia is multiplied by what is found over what is wanted until both agree; fluctuation is all but inverse to
inertia, so that each step leaves a small share of the error. Last, runs of the whole model, block on its mounts,
correct it by a straight line over 1/inertia.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vibsim.engine.layout import engine_axes
from vibsim.inputs.errors import InputError, RunFailure, VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Body, Engine, NoLoad
from vibsim.post.energy_excess import Excess, excess_over_cycle, flywheel_inertia
from vibsim.solver.crank_speed import CrankSpeed, Law, crank_speed
from vibsim.solver.crank_torque import TorqueCourse, torque_course
from vibsim.solver.packed import pack
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import run_at
from vibsim.studies.run import run_case

LoadLine = Literal["constant", "case"]
MOST_STEPS, CLOSE = 40, 1e-7  # of the iteration on a still block
MOST_RUNS, NEAR = 6, 0.005  # of the wanted fluctuation, of runs
LEAST = 0.01  # of the present inertia: below that no flywheel is needed
RECORD = 0.05  # s
LEFT_OUT = "inertia is changed as of a thin disc; the weight of more, or less, flywheel is left out"


@dataclass(frozen=True, eq=False)
class FlywheelPoint:
    """One operating point, rad/s and share of full load. `excess` at constant speed; inertias kg m² as
    `engine.crank.inertia`: `estimate` by it, `needed` after `steps` of iteration, both 0 where none is needed;
    `now` and `then` the crank's speed with the present inertia and the needed one."""

    speed: float
    load: float
    excess: Excess
    estimate: float
    needed: float
    steps: int
    now: CrankSpeed
    then: CrankSpeed


@dataclass(frozen=True)
class Proof:
    """A run of the whole model: inertia kg m², coefficient of speed fluctuation found, whether it settled."""

    inertia: float
    fluctuation: float
    settled: bool


@dataclass(frozen=True, eq=False)
class Flywheel:
    """Points, the one that asks most first in `hardest`; `present` run as given there, `proofs` run after run."""

    wanted: float
    line: LoadLine
    present_inertia: float
    points: tuple[FlywheelPoint, ...]
    present: Proof | None
    proofs: tuple[Proof, ...]
    notes: tuple[str, ...]

    @property
    def hardest(self) -> FlywheelPoint:
        return max(self.points, key=lambda point: point.needed)

    @property
    def inertia(self) -> float:
        """What to build, kg m²: proved by a run where there is one."""
        return self.proofs[-1].inertia if self.proofs else self.hardest.needed


def size_flywheel(
    case_file: CaseFile,
    wanted: float,
    speeds: list[float],
    loads: list[float | None],
    line: LoadLine = "constant",
    prove: bool = True,
    progress: Progress = no_progress,
) -> Flywheel:
    """Inertia for a coefficient of speed fluctuation at every speed (rad/s) and load (0 to 1, None as given).

    Raises InputError for what cannot be, RunFailure when a run cannot be carried through.
    """
    engine = _engine(case_file)
    case_file = _with_line(case_file, line)
    places = [(speed, load) for speed in speeds for load in loads]
    points = []
    for speed, load in places:
        points.append(flywheel_point(run_at(case_file, speed, load), wanted, line))
        progress("operating points", len(points), len(places))
    found = Flywheel(wanted, line, engine.crank.inertia, tuple(points), None, (), (LEFT_OUT,))
    if not prove:
        return found
    hardest = found.hardest
    at = run_at(case_file, hardest.speed, hardest.load)
    present = proof_of(at, engine.crank.inertia)
    if hardest.needed <= 0.0:
        words = "the fluctuation wanted is kept with hardly any flywheel; no run was made without one"
        return replace(found, present=present, notes=(*found.notes, words))
    proofs, failed = _proofs(at, wanted, hardest.needed, progress)
    return replace(found, present=present, proofs=proofs, notes=(*found.notes, *failed))


def flywheel_point(case_file: CaseFile, wanted: float, line: LoadLine) -> FlywheelPoint:
    """The inertia that a steady run's point needs, without a run."""
    run, engine = case_file.case.run, _engine(case_file)
    assert run is not None
    packed = pack(case_file.case, case_file.folder)
    course = torque_course(packed, run.speed)
    _, linear, quadratic, _ = packed.model.load
    law = (linear, quadratic) if line == "case" else (0.0, 0.0)
    excess = excess_over_cycle(course.net, packed.period)
    rest = float(course.felt.mean()) - engine.crank.inertia  # pistons, rods, shafts
    estimate = flywheel_inertia(excess.swing, run.speed, wanted) - rest
    now = crank_speed(course, run.speed, packed.period, 0.0, law)
    added, steps, then = _needed(course, run.speed, packed.period, wanted, law, engine.crank.inertia)
    needed = engine.crank.inertia + added
    least = (1.0 + CLOSE) * LEAST * engine.crank.inertia
    return FlywheelPoint(
        speed=run.speed,
        load=packed.load,
        excess=excess,
        estimate=estimate if estimate > least else 0.0,
        needed=needed if needed > least else 0.0,
        steps=steps,
        now=now,
        then=then,
    )


def _needed(
    course: TorqueCourse, speed: float, period: float, wanted: float, law: Law, present: float
) -> tuple[float, int, CrankSpeed]:
    """Inertia to add (kg m²), steps taken, and the crank's speed with it."""
    mean, added = float(course.felt.mean()), 0.0
    lowest = (LEAST - 1.0) * present
    for step in range(1, MOST_STEPS + 1):
        found = crank_speed(course, speed, period, added, law)
        ratio = found.fluctuation / wanted
        if abs(ratio - 1.0) < CLOSE or (added <= lowest and ratio < 1.0):
            return added, step, found
        added = max((mean + added) * ratio - mean, lowest)
    raise VibsimError(
        f"no inertia found for a fluctuation of {wanted:g} at {speed * 30.0 / math.pi:.0f} rpm: {MOST_STEPS} steps "
        f"end at {found.fluctuation:.4g}"
    )


def _proofs(
    case_file: CaseFile, wanted: float, inertia: float, progress: Progress
) -> tuple[tuple[Proof, ...], tuple[str, ...]]:
    """Runs until the fluctuation is met, and what stopped them."""
    proofs: list[Proof] = []
    for number in range(1, MOST_RUNS + 1):
        try:
            proofs.append(proof_of(case_file, inertia))
        except (InputError, RunFailure) as error:
            return tuple(proofs), (f"no run with {inertia:.4g} kg m²: {error}",)
        progress("runs", number, MOST_RUNS)
        ratio = proofs[-1].fluctuation / wanted
        if abs(ratio - 1.0) < NEAR:
            return tuple(proofs), ()
        inertia = _next(proofs, wanted)
        if not math.isfinite(inertia):
            words = "no inertia keeps it: with the block rocking on its mounts the speed against the block still varies"
            return tuple(proofs), (words,)
    return tuple(proofs), (f"{MOST_RUNS} runs end at {proofs[-1].fluctuation:.4g}, not within {100 * NEAR:g} %",)


def _next(proofs: list[Proof], wanted: float) -> float:
    """Inertia of the next run: by fluctuation = a/inertia + b through the last two, b what the block's own rocking
    leaves; after the first one by b = 0. Infinite where b alone is too much."""
    last = proofs[-1]
    if len(proofs) < 2:
        return last.inertia * last.fluctuation / wanted
    a = (last.fluctuation - proofs[-2].fluctuation) / (1.0 / last.inertia - 1.0 / proofs[-2].inertia)
    b = last.fluctuation - a / last.inertia
    return a / (wanted - b) if a > 0.0 and b < 0.95 * wanted else math.inf


def proof_of(case_file: CaseFile, inertia: float) -> Proof:
    """Run the case, steady as it stands, with another inertia of its crank (kg m²)."""
    run = case_file.case.run
    assert run is not None
    changed = with_inertia(case_file, inertia)
    short = run.model_copy(update={"duration": RECORD})
    changed = replace(changed, case=changed.case.model_copy(update={"run": short}))
    results = run_case(changed)
    fluctuation = float(results.groups["torque"].attributes["speed_fluctuation"])
    return Proof(inertia, fluctuation, bool(results.attributes["settled"]))


def with_inertia(case_file: CaseFile, inertia: float) -> CaseFile:
    """The case with another inertia of its crank (kg m²), as of a thin disc: half as much across the crank's axis, in
    the body; about the axis too where the body was weighed with its moving parts, so that the block stays what it is.
    """
    engine, case = _engine(case_file), case_file.case
    more, axis = inertia - engine.crank.inertia, engine_axes(engine)[:, 0]
    crank = engine.crank.model_copy(update={"inertia": inertia})
    bodies = tuple(_with_disc(body, more, axis) if body.name == engine.body else body for body in case.body)
    engine = engine.model_copy(update={"crank": crank})
    return replace(case_file, case=case.model_copy(update={"engine": engine, "body": bodies}))


def _with_disc(body: Body, more: float, axis: np.ndarray) -> Body:
    about = np.outer(axis, axis)
    disc = 0.5 * more * (np.eye(3) - about)
    if body.moving_parts == "included":
        disc = disc + more * about
    sign = -1.0 if body.inertia_products == "integral" else 1.0
    entries = [*np.diag(disc), sign * disc[0, 1], sign * disc[0, 2], sign * disc[1, 2]]
    inertia = tuple(own + float(part) for own, part in zip(body.inertia, entries, strict=True))
    return body.model_copy(update={"inertia": inertia})


def _with_line(case_file: CaseFile, line: LoadLine) -> CaseFile:
    """The case with a load that does not change with speed, or its own."""
    engine = _engine(case_file)
    if line == "case":
        return case_file
    engine = engine.model_copy(update={"load": NoLoad(reacted_by=engine.load.reacted_by)})
    return replace(case_file, case=case_file.case.model_copy(update={"engine": engine}))


def _engine(case_file: CaseFile) -> Engine:
    engine = case_file.case.engine
    if engine is None:
        raise InputError("engine: is missing; a flywheel needs an [engine] table")
    return engine
