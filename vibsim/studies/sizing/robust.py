"""Mounts as built, aged and in heat and cold: how sure each target is, and which parameter matters."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import sobol_indices, uniform

from vibsim.inputs import units as u
from vibsim.inputs.mount_models import MountBase
from vibsim.inputs.units import Unit
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.sizing.meter import Meter
from vibsim.studies.sizing.problem import Problem, Values
from vibsim.studies.sizing.space import Mounts

SOBOL_POINTS = 256  # a power of two; asked that often times the parameters and two
CONFIDENCE = 1.96  # standard deviations: 95 %
AXES = "XYZ"


@dataclass(frozen=True)
class Parameter:
    """One thing that is off: its name, least and most (a share, or m for a position), what it acts on."""

    name: str
    low: float
    high: float
    apply: Callable[[dict[int, MountBase], float], None]


@dataclass(frozen=True)
class Sure:
    """A goal or limit over the scatter: `values` (samples) SI, share that holds and its 95 % interval (Wilson)."""

    meter: Meter
    values: np.ndarray
    holds: float
    low: float
    high: float


@dataclass(frozen=True)
class Matters:
    """How much each parameter moves one goal or limit: Sobol `first` and `total` (parameters), and its value with the
    parameter at its least and most, all others as drawn: `at_low`, `at_high` (parameters), SI; `nominal` SI."""

    meter: Meter
    nominal: float
    first: np.ndarray
    total: np.ndarray
    at_low: np.ndarray
    at_high: np.ndarray


@dataclass(frozen=True)
class Robust:
    parameters: list[str]
    samples: int
    seed: int
    sure: list[Sure]
    matters: list[Matters]


def scaled(mount: MountBase, stiffness: float, damping: float) -> MountBase:
    """The mount with all its stiffnesses and damping rates times a factor."""
    factors: dict[Unit, float] = {
        u.STIFFNESS: stiffness,
        u.TORSIONAL_STIFFNESS: stiffness,
        u.DAMPING: damping,
        u.TORSIONAL_DAMPING: damping,
    }
    update: dict[str, Any] = {}
    for name, info in type(mount).model_fields.items():
        unit = next((item for item in info.metadata if isinstance(item, Unit)), None)
        value = getattr(mount, name)
        if unit in factors and value is not None:
            update[name] = _times(factors[unit], value)
    return mount.model_copy(update=update)


def _times(factor: float, value: Any) -> Any:
    """A number, or all numbers of a tuple or of one of tuples, times a factor."""
    return tuple(_times(factor, item) for item in value) if isinstance(value, tuple) else factor * value


def parameters_of(problem: Problem) -> list[Parameter]:
    """What may be off: of every mount that may change its stiffness, damping and place; age and temperature of all.

    An age or temperature raises all stiffnesses by a share; those factors multiply.
    """
    scatter, mounts, turned = problem.size.scatter, problem.space.mounts, problem.space.turned
    found = []

    def rates(indices: list[int], damping: bool) -> Callable[[dict[int, MountBase], float], None]:
        def apply(changed: dict[int, MountBase], off: float) -> None:
            for index in indices:
                factors = (1.0, 1.0 + off) if damping else (1.0 + off, 1.0)
                changed[index] = scaled(changed[index], *factors)

        return apply

    def shift(index: int, axis: int) -> Callable[[dict[int, MountBase], float], None]:
        def apply(changed: dict[int, MountBase], off: float) -> None:
            at = changed[index].at
            moved = tuple(value + (off if n == axis else 0.0) for n, value in enumerate(at))
            changed[index] = changed[index].model_copy(update={"at": moved})

        return apply

    for index in turned:
        name = mounts[index].name
        found.append(Parameter(f"{name}: stiffness", -scatter.rate, scatter.rate, rates([index], False)))
        found.append(Parameter(f"{name}: damping", -scatter.damping, scatter.damping, rates([index], True)))
        for axis in range(3):
            words = f"{name}: place {AXES[axis]}"
            found.append(Parameter(words, -scatter.position, scatter.position, shift(index, axis)))
    found.append(Parameter("age, all mounts", *scatter.ageing, rates(turned, False)))
    found.append(Parameter("temperature, all mounts", *scatter.temperature, rates(turned, False)))
    return [parameter for parameter in found if parameter.low < parameter.high]


def as_built(mounts: Mounts, turned: list[int], parameters: list[Parameter], off: np.ndarray) -> Mounts:
    """Mounts with every parameter off by `off` (parameters)."""
    changed = {index: mounts[index] for index in turned}
    for parameter, value in zip(parameters, off, strict=True):
        if value:
            parameter.apply(changed, float(value))
    return tuple(changed.get(index, mount) for index, mount in enumerate(mounts))


def find_robust(problem: Problem, x: np.ndarray, progress: Progress = no_progress) -> Robust:
    """Monte Carlo and Sobol indices of the mounts at x (knobs), every parameter evenly within its range.

    First and total indices by Saltelli's estimators as SciPy has them. A measure that no parameter moves has none.
    """
    parameters, scatter = parameters_of(problem), problem.size.scatter
    mounts, turned = problem.space.mounts_at(x), problem.space.turned
    low, high = (np.array([getattr(parameter, end) for parameter in parameters]) for end in ("low", "high"))

    def ask(off: np.ndarray, phase: str) -> np.ndarray:
        """Goals and limits (n, measures) with parameters off (n, parameters)."""
        progress(phase, 0, 1)
        found: Values = problem.of([as_built(mounts, turned, parameters, row) for row in off])
        progress(phase, 1, 1)
        return np.concatenate([found.goals, found.limits], axis=1)

    random = np.random.default_rng(scatter.seed)
    built = ask(random.uniform(low, high, (scatter.samples, len(parameters))), "building mounts")
    ends = np.concatenate([np.zeros((1, len(low))), np.diag(low), np.diag(high)])
    tornado = ask(ends, "tornado")
    first, total = sobol(lambda off: ask(off, "sensitivities"), low, high, scatter.seed)
    meters = (*problem.goals, *problem.limits)
    count = len(parameters)
    matters = [
        Matters(meter, float(tornado[0, n]), first[n], total[n], tornado[1 : count + 1, n], tornado[count + 1 :, n])
        for n, meter in enumerate(meters)
    ]
    sure = [_sure(meter, built[:, n]) for n, meter in enumerate(meters)]
    names = [parameter.name for parameter in parameters]
    return Robust(names, scatter.samples, scatter.seed, sure, matters)


def sobol(
    ask: Callable[[np.ndarray], np.ndarray], low: np.ndarray, high: np.ndarray, seed: int, points: int = SOBOL_POINTS
) -> tuple[np.ndarray, np.ndarray]:
    """First and total Sobol indices (measures, parameters) of a function of parameters (n, parameters) that gives
    measures (n, measures), every parameter even between `low` and `high`."""
    if len(low) < 2:  # one alone has it all, and SciPy's function wants two
        ends = ask(np.array([low, high]))
        moves = np.repeat(ends[0] != ends[1], len(low)).reshape(ends.shape[1], len(low))
        return moves.astype(float), moves.astype(float)

    def function(off: np.ndarray) -> np.ndarray:
        values = ask(off.T).T
        return np.where(np.isfinite(values), values, 0.0)  # what does not stand would spoil the sums

    spreads = [uniform(loc=a, scale=b - a) for a, b in zip(low, high, strict=True)]
    with np.errstate(invalid="ignore", divide="ignore"):
        found = sobol_indices(func=function, n=points, dists=spreads, rng=np.random.default_rng(seed))
    shape = (-1, len(low))
    first, total = (np.nan_to_num(np.reshape(item, shape)) for item in (found.first_order, found.total_order))
    return first, total


def _sure(meter: Meter, values: np.ndarray) -> Sure:
    count = len(values)
    share = float(np.mean(meter.holds(values)))
    return Sure(meter, values, share, *wilson(share, count))


def wilson(share: float, count: int) -> tuple[float, float]:
    """95 % interval of a probability from a share of samples (Wilson 1927, from memory)."""
    square = CONFIDENCE**2
    middle = (share + 0.5 * square / count) / (1.0 + square / count)
    half = CONFIDENCE / (1.0 + square / count) * math.sqrt(share * (1.0 - share) / count + 0.25 * square / count**2)
    return max(0.0, middle - half), min(1.0, middle + half)
