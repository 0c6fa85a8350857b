"""What mass scatter and angle errors leave of a balance: many engines as built, and the first-order forecast.

The Monte Carlo builds engines with every part off at random within its tolerance. The forecast takes the phasors as
straight lines in the errors (Slopes): exact for masses, off by about the angle squared for angles.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vibsim.engine.as_built import (
    ORDERS,
    Assembly,
    Slopes,
    assemble,
    no_errors,
    phasors_as_built,
    rotor_unbalance,
    slopes,
)
from vibsim.engine.balance_grade import allot, permissible_unbalance
from vibsim.engine.tolerances import KEYS, MASSES, SOURCES, UNBALANCES, Source
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.balance import Balance, find_balance

DISTRIBUTIONS = ("uniform", "normal")
FEWEST, MOST = 100, 200_000  # samples
BLOCK = 10_000  # engines built at once
GREATEST_ANGLE = math.radians(10.0)  # beyond it a part is wrong, not off
WHATS = ("force", "couple")


@dataclass(frozen=True)
class Plan:
    """How to build: half-widths of the tolerances in SI by key (the usual ones where absent), how errors lie within
    them, how many engines, and the seed of the draw.

    `uniform`: evenly within ± the half-width; an unbalance evenly over the circle. `normal`: three standard deviations
    to the half-width, not cut off there; an unbalance so in both directions.
    """

    half_widths: Mapping[str, float]
    distribution: str = "uniform"
    samples: int = 10_000
    seed: int = 1


@dataclass(frozen=True)
class Rotor:
    """What balance quality is asked for: grade (mm/s), mass (kg), place of the centre of mass along the crank (m), by
    default the middle of the throws."""

    grade: float
    mass: float
    centre: float | None = None


@dataclass(frozen=True)
class RotorCheck:
    """Turning parts as built against their permissible unbalance: `whole` kg m, in `planes` (2) m `allotted` (2) kg m;
    `unbalance` (2, samples) kg m the sizes there."""

    rotor: Rotor
    whole: float
    planes: tuple[float, float]
    allotted: tuple[float, float]
    unbalance: np.ndarray

    @property
    def within(self) -> float:
        """Share of the engines whose unbalance is permissible in both planes."""
        return float(np.mean(np.all(self.unbalance <= np.array(self.allotted)[:, None], axis=0)))


@dataclass(frozen=True)
class Residual:
    """One order of the force (N) or couple (N m): `drawn` (2) complex, forward and backward as drawn; `built`
    (2, samples) as built; `slopes` in N (N m) per SI unit; `spread` (v) the standard deviation of each error;
    `unit` one F (F·a)."""

    order: int
    what: str
    drawn: np.ndarray
    built: np.ndarray
    slopes: Slopes
    spread: np.ndarray
    unit: float


@dataclass(frozen=True)
class Scatter:
    """Engines as built at the speed of `balance`: the residuals of the first two orders, the half-widths used."""

    balance: Balance
    assembly: Assembly
    plan: Plan
    half_widths: dict[str, float]
    residuals: tuple[Residual, ...]
    rotor: RotorCheck | None

    @property
    def sources(self) -> list[Source]:
        """The kinds of error this engine can have."""
        return [source for source in SOURCES if self.assembly.count(source.key)]


def find_scatter(
    case_file: CaseFile,
    plan: Plan,
    speed: float | None = None,
    rotor: Rotor | None = None,
    progress: Progress = no_progress,
) -> Scatter:
    """Build a case's engine many times, at its run speed unless `speed` (rad/s) is given.

    Raises InputError when the case has no engine, speed or reciprocating mass, and for a plan or rotor out of range.
    """
    balance = find_balance(case_file, speed)
    engine = case_file.case.engine
    assert engine is not None
    assembly = assemble(engine, balance.layout, balance.middle)
    half_widths = _checked(assembly, balance, plan)
    built, turning = _build(assembly, plan, half_widths, progress)
    square = balance.about_crank.speed**2
    residuals = []
    for (order, what), values in built.items():
        drawn = np.array(phasors_as_built(assembly, no_errors(assembly), order, what == "couple"))[:, 0]
        found = slopes(assembly, order, what == "couple")
        scaled = Slopes(found.key, square * found.forward, square * found.backward, found.turns)
        spread = np.array([half_widths[key] * spread_of(key, plan.distribution) for key in found.key])
        unit = balance.unit if what == "force" else balance.couple_unit
        residuals.append(Residual(order, what, square * drawn, square * values, scaled, spread, unit))
    check = None if rotor is None else _check_rotor(rotor, balance, turning)
    return Scatter(balance, assembly, plan, half_widths, tuple(residuals), check)


def spread_of(key: str, distribution: str) -> float:
    """Standard deviation of one error (an unbalance: of each of its two parts) over the half-width.

    Derived: 1/√3 evenly over a line, 1/2 in each direction evenly over a circle; 1/3 by definition when normal.
    """
    if distribution == "normal":
        return 1.0 / 3.0
    return 0.5 if key in UNBALANCES else 1.0 / math.sqrt(3.0)


def draw(
    random: np.random.Generator, assembly: Assembly, half_widths: Mapping[str, float], distribution: str, count: int
) -> dict[str, np.ndarray]:
    """Errors of `count` engines by key. Changing one half-width leaves the draws of the others as they are."""
    errors = {}
    for key in KEYS:
        shape = (count, assembly.count(key))
        if distribution == "normal":
            share = random.normal(0.0, 1.0 / 3.0, shape)
            errors[key] = share + 1j * random.normal(0.0, 1.0 / 3.0, shape) if key in UNBALANCES else share
        elif key in UNBALANCES:  # evenly over a circle: the area goes with the radius squared
            errors[key] = np.sqrt(random.random(shape)) * np.exp(2j * np.pi * random.random(shape))
        else:
            errors[key] = random.uniform(-1.0, 1.0, shape)
        errors[key] = half_widths[key] * errors[key]
    return errors


def _build(
    assembly: Assembly, plan: Plan, half_widths: Mapping[str, float], progress: Progress
) -> tuple[dict[tuple[int, str], np.ndarray], np.ndarray]:
    """Phasors (2, samples) at unit speed by order and what; unbalance and moment (2, samples) of the turning parts."""
    random = np.random.default_rng(plan.seed)
    built = {(order, what): np.empty((2, plan.samples), complex) for order in ORDERS for what in WHATS}
    turning = np.empty((2, plan.samples), complex)
    for start in range(0, plan.samples, BLOCK):
        block = slice(start, min(start + BLOCK, plan.samples))
        errors = draw(random, assembly, half_widths, plan.distribution, block.stop - start)
        for (order, what), values in built.items():
            values[:, block] = phasors_as_built(assembly, errors, order, what == "couple")
        turning[:, block] = rotor_unbalance(assembly, errors)
        progress("building engines", block.stop, plan.samples)
    return built, turning


def _check_rotor(rotor: Rotor, balance: Balance, turning: np.ndarray) -> RotorCheck:
    """Permissible unbalance in the planes of the outer throws, which stand for the outer bearings.

    Derived: U₁ + U₂ = U and x₁U₁ + x₂U₂ = M, places from the middle of the throws.
    """
    first, second = (weight.at for weight in balance.counterweights)
    centre = balance.middle if rotor.centre is None else rotor.centre
    if not first < centre < second:
        raise InputError(
            f"--rotor-centre-mm: got {1e3 * centre:g}; must lie between the outer throws, {1e3 * first:g} to "
            f"{1e3 * second:g} mm along the crank"
        )
    whole = permissible_unbalance(rotor.grade, rotor.mass, balance.about_crank.speed)
    unbalance, moment = turning
    right = (moment - (first - balance.middle) * unbalance) / (second - first)
    sizes = np.abs(np.array([unbalance - right, right]))
    return RotorCheck(rotor, whole, (first, second), allot(whole, (first, second), centre), sizes)


ABSENT = {
    "bank": "the case has one bank, whose angle has nothing to be off from",
    "shaft": "the case has no balance shaft at once or twice crank speed",
    "shaft_angle": "the case has no balance shaft at once or twice crank speed",
}


def _checked(assembly: Assembly, balance: Balance, plan: Plan) -> dict[str, float]:
    """Half-widths by key, the usual ones where none is given; InputError with all that is out of range."""
    problems = []
    if balance.unit == 0.0:
        raise InputError("engine.piston.mass: is 0, and the small end too; tolerance measures against this mass")
    if plan.distribution not in DISTRIBUTIONS:
        problems.append(f"--distribution: got '{plan.distribution}'; allowed: {', '.join(DISTRIBUTIONS)}")
    if not FEWEST <= plan.samples <= MOST:
        problems.append(f"--samples: got {plan.samples}; must be {FEWEST} to {MOST}")
    if plan.seed < 0:
        problems.append(f"--seed: got {plan.seed}; must be 0 or more")
    half_widths = {}
    for source in SOURCES:
        value = plan.half_widths.get(source.key, source.usual * source.factor)
        limit, why = _limit(assembly, source)
        got = f"{source.option}: got {value / source.factor:g}"
        if not assembly.count(source.key):
            if plan.half_widths.get(source.key, 0.0) != 0.0:
                problems.append(f"{got}; {ABSENT[source.key]}")
        elif not 0.0 <= value <= limit:
            usual = "" if source.key in plan.half_widths else " as usual"
            problems.append(f"{got}{usual}; must be 0 to {limit / source.factor:.6g} {source.unit}{why}")
        half_widths[source.key] = value
    if problems:
        raise InputError(problems)
    return half_widths


def _limit(assembly: Assembly, source: Source) -> tuple[float, str]:
    slider = assembly.cylinders.slider
    if source.key in MASSES:
        return float(slider.min()), ", the lightest piston with its small end"
    if source.key in UNBALANCES:
        return float((slider * assembly.radius).max()), ", the heaviest piston with its small end times its throw"
    return GREATEST_ANGLE, ""
