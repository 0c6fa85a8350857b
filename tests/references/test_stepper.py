"""The integrator against SciPy: its tableau, its order, its dense output, and whole runs of real cases."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.integrate import RK45, solve_ivp

from tests import cases
from vibsim.inputs.loader import load_case
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import Packed, pack
from vibsim.solver.start import error_control, state_at
from vibsim.solver.stepper import (
    DENSE,
    ERROR,
    REACHED_ANGLE,
    REACHED_TIME,
    TOO_MANY_STEPS,
    A,
    Control,
    Stepper,
    advance,
    grid,
    no_grid,
    start_stepper,
)

WEIGHTS = np.append(A[6], 0.0)
STAGES = np.hstack([A, np.zeros((7, 1))])
NODES = STAGES.sum(axis=1)
NEVER = math.inf

c, a, ones = NODES, STAGES, np.ones(7)
# Butcher's order conditions: Σ b·Φ = 1/γ for every rooted tree up to order five (Hairer, Nørsett & Wanner, II.2)
TREES = {
    1: [(ones, 1)],
    2: [(c, 2)],
    3: [(c**2, 3), (a @ c, 6)],
    4: [(c**3, 4), (c * (a @ c), 8), (a @ c**2, 12), (a @ a @ c, 24)],
    5: [
        (c**4, 5),
        (c**2 * (a @ c), 10),
        ((a @ c) ** 2, 20),
        (c * (a @ c**2), 15),
        (c * (a @ a @ c), 30),
        (a @ c**3, 20),
        (a @ (c * (a @ c)), 40),
        (a @ a @ c**2, 60),
        (a @ a @ a @ c, 120),
    ],
}


@cache
def skewed() -> Packed:
    """Three unlike cylinders on a mounted block, motored, with friction."""
    raw: dict[str, Any] = cases.skewed()
    raw["engine"]["gas"] = {"source": "none"}
    raw["engine"]["friction"] = {"viscous_N_m_s": 0.01}
    damping = [0.4, 0.3, 0.5]
    places = {"left": [200.0, 150.0, -30.0], "right": [150.0, -160.0, -30.0], "rear": [-180.0, 10.0, 60.0]}
    raw["mount"] = [cases.mount(name, at_mm=at, damping_N_s_per_mm=damping) for name, at in places.items()]
    return cases.packed(raw)[1]


@cache
def demo() -> Packed:
    """The demo trike: two bodies, progressive mounts, a fired cycle."""
    return pack(load_case(cases.CONFIGS / "v3-80-trike.toml").case, cases.CONFIGS)


def first_state(packed: Packed) -> np.ndarray:
    """A few millimetres and hundredths of a radian off the drawn place, the crank at 314 rad/s."""
    displacement = np.random.default_rng(5).uniform(-0.004, 0.004, (len(packed.names), 6))
    return state_at(packed, displacement, 0.4, 314.0)


@cache
def reference(packed_case, duration: float, points: int) -> np.ndarray:
    """States (points, n) at uniform times of the same right-hand side by SciPy's DOP853."""
    packed = packed_case()
    work, out = scratch(len(packed.names)), np.zeros(packed.state_size)

    def right_hand_side(_: float, y: np.ndarray) -> np.ndarray:
        derivatives(y, packed.model, *work, out)
        return out.copy()

    times = np.linspace(0.0, duration, points)
    # steps shorter than the pieces of the pressure curve (half a degree), where its second derivative jumps
    fine = {"rtol": 1e-12, "atol": 1e-14 * error_control(packed, 1.0, 1).floor, "max_step": 2e-5}
    done = solve_ivp(right_hand_side, (0.0, duration), first_state(packed), "DOP853", times, **fine)
    assert done.success
    return done.y.T


def share_of_scale(difference: np.ndarray, packed: Packed, y: np.ndarray) -> float:
    """Largest difference over the scale that the stepper's tolerance is a share of."""
    control = error_control(packed, 1.0, 1)
    return float(np.max(np.abs(difference) / (control.floor + control.relative * np.abs(y).max(axis=0))))


def run(packed: Packed, control: Control, ends: list[float], points: int) -> tuple[Stepper, np.ndarray]:
    """Integrate to each of the times in turn; states at uniform times up to the last."""
    stepper = start_stepper(first_state(packed), packed.model, 1e-5)
    times = grid(0.0, ends[-1] / (points - 1), points, packed.state_size)
    for end in ends:
        assert advance(stepper, packed.model, control, end, NEVER, times, no_grid()) == REACHED_TIME
    return stepper, times.states


def one_step(packed: Packed, y: np.ndarray, h: float, shares: int = 0) -> tuple[Stepper, np.ndarray]:
    """One step of size h, whatever its error, and the interpolant at `shares` + 1 places from 0 to 1."""
    blind = error_control(packed, 1e30, 10)
    stepper, points = start_stepper(y, packed.model, h), no_grid()
    if shares:
        points = grid(0.0, h / shares, shares + 1, packed.state_size)
    assert advance(stepper, packed.model, blind, h, NEVER, points, no_grid()) == REACHED_TIME
    assert stepper.tally[0] == 1
    return stepper, points.states


def slope(sizes: list[float], errors: list[float]) -> float:
    return float(np.polyfit(np.log(sizes), np.log(errors), 1)[0])


@pytest.mark.parametrize(("order", "tree"), [(n, i) for n, trees in TREES.items() for i in range(len(trees))])
def test_order_conditions(order: int, tree: int) -> None:
    """Source: derived (Butcher's conditions, from memory); rounding of sums of seven numbers below 12."""
    phi, density = TREES[order][tree]
    assert WEIGHTS @ phi == pytest.approx(1.0 / density, abs=4e-15)


@pytest.mark.parametrize(("order", "tree"), [(n, i) for n in range(1, 5) for i in range(len(TREES[n]))])
def test_embedded_formula_has_order_four(order: int, tree: int) -> None:
    """Source: derived (Butcher's conditions, from memory): the error weights are orthogonal to all trees to order 4."""
    assert TREES[order][tree][0] @ ERROR == pytest.approx(0.0, abs=1e-15)


def test_embedded_formula_has_not_order_five() -> None:
    """Source: derived: else the error estimate would vanish with the error."""
    assert max(abs(phi @ ERROR) for phi, _ in TREES[5]) > 1e-4


@pytest.mark.parametrize(
    ("own", "scipy"),
    [
        (NODES[:6], RK45.C),
        (A[:6, :5], RK45.A),
        (A[6], RK45.B),
        (ERROR, -RK45.E),
        (DENSE, RK45.P[:, 3]),
    ],
    ids=["nodes", "stages", "weights", "error weights", "dense weights"],
)
def test_tableau_is_scipys(own: np.ndarray, scipy: np.ndarray) -> None:
    """Source: SciPy's RK45 (library); rounding of numbers of order ten."""
    assert np.abs(own - scipy).max() < 1e-14


def test_dense_output_is_scipys_polynomial() -> None:
    """The interpolant of one step against SciPy's RK45 polynomial on the same stages (library)."""
    packed, h, shares = skewed(), 3e-4, 10
    y = first_state(packed)
    stepper, states = one_step(packed, y, h, shares)
    theta = np.linspace(0.0, 1.0, shares + 1)[:, None] ** np.arange(1, 5)
    expected = y + h * theta @ RK45.P.T @ stepper.stages
    # two orderings of the same sums: rounding of quaternions of order 1, whose scale is 1e-3
    assert share_of_scale(states - expected, packed, y[None]) < 1e-12


def test_order_of_the_step() -> None:
    """Error at the end of a run with fixed steps falls as h⁵. Source: derived (order), DOP853 for the truth."""
    packed, duration = skewed(), 0.01
    truth = reference(skewed, duration, 2)[-1]
    steps, errors = [10, 14, 20, 28, 40], []
    for count in steps:
        y = first_state(packed)
        for _ in range(count):
            y = one_step(packed, y, duration / count)[0].y
        errors.append(share_of_scale(y - truth, packed, truth[None]))
    # the next order's share falls with h: the slope of five sizes is within 0.3 of its limit
    assert slope([duration / count for count in steps], errors) == pytest.approx(5.0, abs=0.3)


@pytest.mark.parametrize(("share", "order"), [(0.25, 5.0), (0.5, 5.0), (0.75, 5.0), (1.0, 6.0)])
def test_order_of_the_dense_output(share: float, order: float) -> None:
    """Within one step the interpolant's error falls as h⁵ (order 4), at its end as h⁶. Source: derived (order)."""
    packed = skewed()
    sizes, errors = [8e-4, 5.6e-4, 4e-4, 2.8e-4, 2e-4], []
    for h in sizes:
        truth = reference(skewed, h, 5)
        states = one_step(packed, first_state(packed), h, 4)[1]
        at = round(4 * share)
        errors.append(share_of_scale(states[at] - truth[at], packed, truth))
    assert slope(sizes, errors) == pytest.approx(order, abs=0.3)


@pytest.mark.parametrize("tolerance", [1e-5, 1e-6, 1e-7])
@pytest.mark.parametrize(("case", "most"), [(skewed, 5.0), (demo, 100.0)], ids=["smooth", "fired"])
def test_whole_run_against_dop853(case, most: float, tolerance: float) -> None:
    """0.05 s of a real case against SciPy's DOP853 at rtol 1e-12 on the same right-hand side (library)."""
    packed = case()
    found = run(packed, error_control(packed, tolerance, 100_000), [0.05], 101)[1]
    expected = reference(case, 0.05, 101)
    # tolerance bounds a step's estimated error: a hundred smooth steps add up to about one, each better than asked.
    # A fired cycle's pressure has jumps of its second derivative inside a step, which the estimate sees in part.
    assert share_of_scale(found - expected, packed, expected) < most * tolerance


def test_run_taken_up_again_is_the_same_run() -> None:
    """A run stopped after every step by the step limit repeats the whole run to the last bit. Source: derived."""
    packed, end = skewed(), 0.02
    whole, expected = run(packed, error_control(packed, 1e-7, 10_000), [end], 51)
    control, times = error_control(packed, 1e-7, 1), grid(0.0, end / 50, 51, packed.state_size)
    stepper = start_stepper(first_state(packed), packed.model, 1e-5)
    stops = 0
    while advance(stepper, packed.model, control, end, NEVER, times, no_grid()) == TOO_MANY_STEPS:
        stops += 1
    assert stops == whole.tally[0] - 1
    assert np.array_equal(times.states, expected)


@pytest.mark.parametrize("chunks", [2, 7, 40])
def test_output_does_not_depend_on_chunks(chunks: int) -> None:
    """The same run asked for in pieces differs by no more than the error of either. Source: derived."""
    packed, tolerance, end = skewed(), 1e-9, 0.02
    control = error_control(packed, tolerance, 10_000)
    ends = [end * (chunk + 1) / chunks for chunk in range(chunks)]
    whole, cut = run(packed, control, [end], 101)[1], run(packed, control, ends, 101)[1]
    # a step is cut short at each end, so steps differ; each run's own error is below 30 tolerances over this time
    assert share_of_scale(whole - cut, packed, whole) < 60.0 * tolerance


def test_stop_at_an_angle_and_go_on() -> None:
    """Stopping at a crank angle, then going on, leaves the states at the same crank angles. Source: derived."""
    packed, tolerance, step, points = skewed(), 1e-9, 0.25, 24
    control = error_control(packed, tolerance, 10_000)

    def angles_with_stops(stops: list[float]) -> tuple[np.ndarray, np.ndarray]:
        stepper = start_stepper(first_state(packed), packed.model, 1e-5)
        angles = grid(0.5, step, points, packed.state_size)
        for stop in [*stops, 0.5 + step * (points - 1) + 0.01]:
            assert advance(stepper, packed.model, control, NEVER, stop, no_grid(), angles) == REACHED_ANGLE
            assert stepper.y[-2] == stop
        return angles.states, angles.times

    whole, whole_times = angles_with_stops([])
    cut, cut_times = angles_with_stops([1.0, 2.3, 4.9])
    asked = 0.5 + step * np.arange(points)
    # the angle is found by the interpolant to 1e-13 of itself
    assert np.abs(whole[:, -2] - asked).max() < 1e-12
    assert np.abs(cut[:, -2] - asked).max() < 1e-12
    # the interpolant, one order below the step, is what is gone on from after a stop
    assert share_of_scale(whole - cut, packed, whole) < 1000.0 * tolerance
    assert np.abs(whole_times - cut_times).max() < 1000.0 * tolerance / 314.0


def test_a_point_on_the_end_is_written_once() -> None:
    """Uniform times have duration × rate + 1 points, both ends in, also where pieces meet. Source: derived."""
    packed, end = skewed(), 0.01
    control = error_control(packed, 1e-6, 10_000)
    stepper = start_stepper(first_state(packed), packed.model, 1e-5)
    times = grid(0.0, 0.001, 11, packed.state_size)
    for piece in range(1, 11):
        advance(stepper, packed.model, control, 0.001 * piece, NEVER, times, no_grid())
        assert times.next[0] == piece + 1
    assert times.times == pytest.approx(np.linspace(0.0, end, 11), abs=1e-17)
    assert np.isfinite(times.states).all()


def test_last_point_is_written_when_its_time_rounds_up() -> None:
    """At 7000 Hz the 42001st time, (1/7000)·42000, rounds to 9e-16 s past 6 s, the end of the run. Source: derived."""
    packed, rate, count = skewed(), 7000.0, 42001
    stepper = start_stepper(first_state(packed), packed.model, 1e-5)
    times = grid(0.0, 1.0 / rate, count, packed.state_size)
    stepper.clock[0], times.next[0] = 5.99, 41930
    advance(stepper, packed.model, error_control(packed, 1e-6, 1000), (count - 1) / rate, NEVER, times, no_grid())
    assert times.next[0] == count
    assert np.isfinite(times.states[-1]).all()
