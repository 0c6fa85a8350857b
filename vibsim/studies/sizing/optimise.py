"""Global, then local search: the best for every goal, the best all round, and the front between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import differential_evolution, minimize

from vibsim.inputs.errors import RunFailure
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.search.front import best_at_each, empty_front, joined, together
from vibsim.studies.sizing.problem import Problem, Values

EVALUATIONS = 12_000
NOT_KEPT = 1e6  # cost of a candidate that breaks limits, beside how far it does
CELL = 0.01  # of the span between the best at one goal and at the others: closer is as good
LEAST_SPAN = 0.01  # of a goal: goals that do not conflict span no less
FARTHEST = 1e3  # spans from the best: further is as far
LOCAL_SHARE = 0.25  # of the evaluations
STEP = 1e-4  # of a range, of derivatives
FINEST = 1e-4  # of a range, where the pattern search stops
ALL_ROUND = "best all round"


@dataclass
class Seen:
    """Every candidate asked: x (n, knobs), its values."""

    x: list[np.ndarray] = field(default_factory=list)
    values: list[Values] = field(default_factory=list)


@dataclass(frozen=True)
class Choice:
    """One set of the front: x (knobs) SI, its goals and limits (SI), and what it is best at."""

    x: np.ndarray
    goals: np.ndarray
    limits: np.ndarray
    words: tuple[str, ...]


@dataclass(frozen=True)
class Found:
    """What a search found: the front (k, goals) with its x (k, knobs), sets to show, and which is taken."""

    front: np.ndarray
    front_x: np.ndarray
    choices: tuple[Choice, ...]
    taken: int
    asked: int


class _Search:
    def __init__(self, problem: Problem, evaluations: int, seed: int, progress: Progress):
        self.problem, self.seed, self.progress = problem, seed, progress
        self.evaluations, self.seen, self.done = evaluations, Seen(), 0
        space = problem.space
        self.low, self.span = space.low, np.maximum(space.high - space.low, 1e-300)
        self.stepped = np.array([knob.values is not None for knob in space.knobs])

    def values(self, cube: np.ndarray) -> Values:
        """Values at points (n, knobs) of the unit cube; remembered."""
        x = self.problem.space.snapped(self.low + cube * self.span)
        found = self.problem.values(x)
        self.seen.x.append(x)
        self.seen.values.append(found)
        self.done += len(x)
        self.progress("sizing", min(self.done, self.evaluations), self.evaluations)
        return found

    def cost(self, found: Values, weigh: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
        """One number per candidate: what is weighed, or how far limits are broken."""
        with np.errstate(invalid="ignore"):
            return np.where(found.kept, weigh(found.goals), NOT_KEPT + found.broken)

    def best(self, weigh: Callable[[np.ndarray], np.ndarray], share: float, seed: int) -> np.ndarray:
        """The unit-cube point with the least cost: differential evolution, gradients, then a pattern search."""
        knobs = len(self.low)
        people = int(np.clip(10 * knobs, 40, 160))
        generations = max(3, int((1.0 - LOCAL_SHARE) * share * self.evaluations / people) - 1)
        result = differential_evolution(
            lambda cube: self.cost(self.values(cube.T), weigh),
            bounds=[(0.0, 1.0)] * knobs,
            init=self._first(people, seed),
            maxiter=generations,
            vectorized=True,
            updating="deferred",
            polish=False,
            rng=seed,
            tol=1e-6,
            mutation=(0.4, 0.9),
            recombination=0.8,
        )
        budget = int(LOCAL_SHARE * share * self.evaluations)
        point = self._downhill(np.asarray(result.x), weigh, budget // 2)
        return self._pattern(point, weigh, budget // 2)

    def _first(self, people: int, seed: int) -> np.ndarray:
        """The case as it is, moved into its ranges, among random others (Latin hypercube)."""
        from scipy.stats import qmc

        start = qmc.LatinHypercube(len(self.low), rng=seed).random(people)
        start[0] = np.clip((self.problem.space.before - self.low) / self.span, 0.0, 1.0)
        return start

    def _downhill(self, point: np.ndarray, weigh: Callable[[np.ndarray], np.ndarray], budget: int) -> np.ndarray:
        """Sequential quadratic programming over the knobs without steps, limits as inequalities."""
        free = np.flatnonzero(~self.stepped)
        if not len(free) or not self._cost_at(point, weigh) < NOT_KEPT:
            return point
        rounds = max(2, budget // (2 * (len(free) + 1)))
        memory: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}
        scale = max(abs(float(weigh(self.values(point[None]).goals)[0])), 1e-9)

        def local(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            """Cost and room (1 + limits) and their slopes at the free knobs z."""
            key = z.tobytes()
            if key not in memory:
                cube = np.repeat(point[None], len(free) + 1, axis=0)
                cube[:, free] = z
                side = np.where(z + STEP <= 1.0, STEP, -STEP)
                cube[np.arange(1, len(free) + 1), free] += side
                found = self.values(cube)
                rows = np.column_stack([weigh(found.goals) / scale, -found.ratios, self._room(found)])
                memory[key] = rows[0], ((rows[1:] - rows[0]) / side[:, None]).T
            return memory[key]

        limits = {"type": "ineq", "fun": lambda z: local(z)[0][1:], "jac": lambda z: local(z)[1][1:]}
        try:
            result = minimize(
                lambda z: (float(local(z)[0][0]), local(z)[1][0]),
                point[free],
                jac=True,
                method="SLSQP",
                bounds=[(0.0, 1.0)] * len(free),
                constraints=[limits],
                options={"maxiter": rounds, "ftol": 1e-7},
            )
        except ValueError:  # a step met mounts that do not stand: their slopes are none
            return point
        better = point.copy()
        better[free] = np.clip(result.x, 0.0, 1.0)
        if not np.isfinite(better).all():
            return point
        return better if self._cost_at(better, weigh) < self._cost_at(point, weigh) else point

    def _room(self, found: Values) -> np.ndarray:
        """Room left (n, bounds) at every bound, as a share of it."""
        columns = []
        for n, meter in enumerate(self.problem.limits):
            for bound, sign in ((meter.most, 1.0), (meter.least, -1.0)):
                if bound is not None:
                    columns.append(sign * (bound - found.limits[:, n]) / max(abs(bound), 1e-9))
        return np.stack(columns, axis=1) if columns else np.zeros((len(found.broken), 0))

    def _cost_at(self, point: np.ndarray, weigh: Callable[[np.ndarray], np.ndarray]) -> float:
        return float(self.cost(self.values(point[None]), weigh)[0])

    def _pattern(self, point: np.ndarray, weigh: Callable[[np.ndarray], np.ndarray], budget: int) -> np.ndarray:
        """One step either way of every knob, all at once; the best is taken, or the steps are halved."""
        least = np.array([self._one_step(n) for n in range(len(point))])
        step, cost = np.maximum(0.05, least), self._cost_at(point, weigh)
        while budget > 0:
            trials = np.concatenate([point + np.diag(step), point - np.diag(step)])
            found = self.cost(self.values(np.clip(trials, 0.0, 1.0)), weigh)
            budget -= len(trials)
            if found.min() < cost:
                point, cost = np.clip(trials[found.argmin()], 0.0, 1.0), float(found.min())
                continue
            finest = np.maximum(least, FINEST)
            if np.all(step <= finest):
                break
            step = np.maximum(0.5 * step, finest)
        return point

    def _one_step(self, knob: int) -> float:
        """The least move of the unit cube that reaches another value of a knob with steps, 0 of one without."""
        values = self.problem.space.knobs[knob].values
        return 0.0 if values is None else float(np.diff(values).max() / self.span[knob]) * (1.0 + 1e-9)


def optimise(
    problem: Problem, evaluations: int = EVALUATIONS, seed: int = 1, progress: Progress = no_progress
) -> Found:
    """The front of all goals within ranges, steps, ratios and limits.

    Every goal alone, then all together by the greatest share of its span that any gives up (Chebyshev, from memory);
    the front is of all candidates asked on the way. Raises RunFailure when none keeps every limit, saying which the
    nearest breaks by how much.
    """
    search = _Search(problem, evaluations, seed, progress)
    signs = np.array([meter.sign for meter in problem.goals])
    runs = len(signs) + (len(signs) > 1)
    for number in range(len(signs)):
        search.best(lambda goals, n=number: signs[n] * goals[:, n], 1.0 / runs, seed + number)  # type: ignore[misc]
        _require_some(problem, search.seen)
    if len(signs) > 1:
        ideal, span = _spans(search.seen, signs)

        def all_round(goals: np.ndarray) -> np.ndarray:
            lost = (signs * goals - ideal) / span
            return np.asarray(lost.max(axis=1) + 1e-3 * lost.sum(axis=1))

        search.best(all_round, 1.0 / runs, seed + len(signs))
    return _collect(problem, search.seen, signs, search.done)


def _kept(seen: Seen, signs: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """x, costs (less is better) and limits of all candidates that keep every limit."""
    kept = np.concatenate([found.kept for found in seen.values])
    x = np.concatenate(seen.x)[kept]
    goals = np.concatenate([found.goals for found in seen.values])[kept]
    limits = np.concatenate([found.limits for found in seen.values])[kept]
    return x, signs * goals, limits


def _spans(seen: Seen, signs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The best at each goal, and how much worse the bests at the others are there."""
    _, costs, _ = _kept(seen, signs)
    best = costs[costs.argmin(axis=0)]
    ideal = costs.min(axis=0)
    return ideal, np.maximum(best.max(axis=0) - ideal, LEAST_SPAN * np.maximum(np.abs(ideal), 1e-12))


def _collect(problem: Problem, seen: Seen, signs: np.ndarray, asked: int) -> Found:
    x, costs, limits = _kept(seen, signs)
    ideal, span = _spans(seen, signs)
    scaled = np.minimum((costs - ideal) / span, FARTHEST)
    keys, cell = np.arange(len(costs)), np.full(len(signs), CELL)
    front = joined(empty_front(len(signs)), scaled, keys, cell)
    champions = best_at_each(empty_front(len(signs)), scaled, keys, cell * 1e-2)
    round_best = int(np.argmin(scaled.max(axis=1) + 1e-3 * scaled.sum(axis=1)))
    words: dict[int, list[str]] = {}
    for row, meter in zip(champions.key, problem.goals, strict=True):
        words.setdefault(int(row), []).append(f"best at {meter.name}")
    if len(signs) > 1:
        words.setdefault(round_best, []).append(ALL_ROUND)
    else:  # of candidates as good as each other within a cell the champion is the one
        round_best = int(champions.key[0])
    keep = together(front, champions).key
    for row in _between(scaled, keep, list(words)):
        words[row] = []
    rows = sorted(words, key=lambda row: tuple(scaled[row]))
    choices = tuple(Choice(x[row], signs * costs[row], limits[row], tuple(words[row])) for row in rows)
    front_rows = keep[np.argsort(costs[keep, 0])]
    return Found(signs * costs[front_rows], x[front_rows], choices, rows.index(round_best), asked)


def _between(scaled: np.ndarray, front: np.ndarray, named: list[int], most: int = 6) -> list[int]:
    """Some of the front between those that have a name, each the furthest from all chosen before."""
    chosen = list(named)
    while len(chosen) < most and len(front):
        gap = np.min([np.linalg.norm(scaled[front] - scaled[row], axis=1) for row in chosen], axis=0)
        if gap.max() < 0.1:
            break
        chosen.append(int(front[gap.argmax()]))
    return chosen[len(named) :]


def _require_some(problem: Problem, seen: Seen) -> None:
    """Raise RunFailure unless some candidate keeps every limit: which the nearest breaks, by how much."""
    if any(found.kept.any() for found in seen.values):
        return
    broken = np.concatenate([found.broken for found in seen.values])
    row = int(broken.argmin())
    x = np.concatenate(seen.x)[row]
    if broken[row] >= 1e3:
        raise RunFailure("no mounts within the ranges hold the bodies at rest; check size.variable ranges")
    limits = np.concatenate([found.limits for found in seen.values])[row]
    lines = broken_words(problem, limits) + problem.ratio_words(problem.space.mounts_at(x))
    raise RunFailure("no mounts within the ranges keep every limit; the nearest break " + "; ".join(lines))


def broken_words(problem: Problem, limits: np.ndarray) -> list[str]:
    """Which limits are broken at their values (limits, SI), and by how much."""
    lines = []
    for n, meter in enumerate(problem.limits):
        for bound, sign, word in ((meter.most, 1.0, "most"), (meter.least, -1.0, "least")):
            if bound is not None and sign * (limits[n] - bound) > 0.0:
                got, allowed = limits[n] / meter.scale, bound / meter.scale
                by = f"{abs(got - allowed):.3g} {meter.unit}"
                lines.append(
                    f"size.limit[{n + 1}] ({meter.name}) by {by}: {got:.4g}, at {word} {allowed:.4g} {meter.unit}"
                )
    return lines
