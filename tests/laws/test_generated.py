"""The laws of mechanics on engines no one would build."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.integrate import simpson

from tests.cases import mount, packed, single
from tests.laws.test_conservation import (
    particle_momentum,
    places,
    run_states,
    separate,
    start,
    total_energy,
)
from vibsim.inputs.models import Case
from vibsim.solver.invariants import kinetic_energy
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed

REVOLUTIONS = 20.0
SHORT = {"deadline": None, "derandomize": True, "database": None}
QUICK = settings(max_examples=25, **SHORT)
LONG = settings(max_examples=200, suppress_health_check=list(HealthCheck), **SHORT)


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


ANGLE = numbers(-180.0, 180.0)
ALONG = numbers(-200.0, 200.0)
ROD = st.fixed_dictionaries(
    {"mass_g": numbers(100.0, 600.0), "centre_of_mass_mm": numbers(0.0, 90.0), "inertia_kg_mm2": numbers(0.0, 2000.0)}
)
PISTON = st.fixed_dictionaries({"mass_g": numbers(0.0, 600.0)})
CYLINDER = st.fixed_dictionaries(
    {"pin_deg": ANGLE, "bank_deg": ANGLE, "at_mm": ALONG},
    optional={
        "piston_pin_offset_mm": numbers(-20.0, 20.0),
        "stroke_mm": numbers(30.0, 90.0),
        "rod_length_mm": numbers(95.0, 200.0),
        "piston": PISTON,
        "rod": ROD,
    },
)
COUNTERWEIGHT = st.fixed_dictionaries({"at_mm": ALONG, "angle_deg": ANGLE, "unbalance_kg_mm": numbers(0.0, 10.0)})
SHAFT = st.fixed_dictionaries(
    {
        "ratio": numbers(-3.0, 3.0),
        "position_mm": st.lists(numbers(-100.0, 100.0), min_size=2, max_size=2),
        "at_mm": ALONG,
        "angle_deg": ANGLE,
        "unbalance_kg_mm": numbers(0.0, 5.0),
        "inertia_kg_mm2": numbers(0.0, 2000.0),
    }
)
DIRECTION = st.lists(numbers(-1.0, 1.0), min_size=3, max_size=3).filter(lambda v: np.linalg.norm(v) > 0.3)


@st.composite
def inertias(draw: st.DrawFn) -> list[float]:
    """An inertia matrix of a real body, at any tilt: three second moments turned."""
    second = np.diag(draw(st.lists(numbers(0.3, 1.5), min_size=3, max_size=3)))
    turn = np.linalg.qr(np.array([draw(DIRECTION), [0.1, 1.0, 0.3], [-0.2, 0.4, 1.0]]).T)[0]
    matrix = turn @ (np.trace(second) * np.eye(3) - second) @ turn.T
    return [float(matrix[i, j]) for i, j in ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))]


def _apart(cylinders: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Without those that would overlap one before them in their bank: less than a bore of 72 mm apart along it."""
    kept: list[dict[str, Any]] = []
    for cylinder in cylinders:
        alike = [c for c in kept if abs(math.remainder(c["bank_deg"] - cylinder["bank_deg"], 360.0)) < 1.01]
        if all(abs(c["at_mm"] - cylinder["at_mm"]) > 72.0 for c in alike):
            kept.append(cylinder)
    return kept


@st.composite
def engines(draw: st.DrawFn) -> dict[str, Any]:
    """A floating engine of one to six cylinders, as a case."""
    raw = separate(single())
    crank, other = draw(DIRECTION), draw(DIRECTION.filter(lambda v: min(abs(x) for x in v) > 0.05))
    reference = np.cross(crank, other)
    if np.linalg.norm(reference) < 0.05:
        reference = np.cross(crank, [other[1], -other[0] - 1.0, other[2] + 0.5])
    cylinders = draw(st.lists(CYLINDER, min_size=1, max_size=6))
    raw["engine"] |= {
        "strokes": draw(st.sampled_from([2, 4])),
        "crank_direction": crank,
        "reference_direction": reference.tolist(),
        "origin_mm": draw(st.lists(ALONG, min_size=3, max_size=3)),
        "rod": draw(ROD),
        "crank": {
            "inertia_kg_m2": draw(numbers(0.01, 0.2)),
            "counterweight": draw(st.lists(COUNTERWEIGHT, max_size=3)),
        },
        "cylinder": [cylinder | {"name": str(n)} for n, cylinder in enumerate(_apart(cylinders))],
        "balance_shaft": draw(st.lists(SHAFT, max_size=2)),
    }
    raw["body"][0] |= {"inertia_kg_m2": draw(inertias()), "mass_kg": draw(numbers(30.0, 120.0))}
    speed = draw(numbers(1500.0, 6000.0))
    raw["run"] |= {"speed_rpm": speed}
    return raw


@st.composite
def mounted_engines(draw: st.DrawFn) -> dict[str, Any]:
    """The same on four mounts, some progressive, some seen from the ground, with weight."""
    raw = draw(engines())
    for n, corner in enumerate(([250, 200, -80], [260, -180, -40], [-270, 190, 50], [-240, -210, 0])):
        between = draw(st.sampled_from([["powertrain", "ground"], ["ground", "powertrain"]]))
        law = draw(st.sampled_from([{"law": "linear"}, {"law": "progressive", "doubling_deflection_mm": [3.0] * 3}]))
        axes = draw(st.lists(ANGLE, min_size=3, max_size=3))
        raw["mount"] = [*raw.get("mount", []), mount(f"m{n}", at_mm=corner, between=between, axes_deg=axes, **law)]
    raw["run"] |= {"gravity": True, "start": "static"}
    return raw


def run(raw: dict[str, Any], points: int, revolutions: float = REVOLUTIONS) -> tuple[Case, Packed, tuple]:
    case, model = packed(raw)
    end = revolutions * 2.0 * math.pi / case.run.speed
    return case, model, run_states(model, start(case, model), end, points)


def check_momentum(raw: dict[str, Any]) -> None:
    """Law: with no force from outside, linear and angular momentum are constant."""
    case, model, (_, states) = run(raw, 5)
    held = np.array([particle_momentum(y, case, model) for y in states])
    # error of a step: 1e-9 of floors of some 10 N s and 1 N m s or of the momentum itself; thousands of steps that
    # mostly cancel
    assert np.abs(held - held[0]).max() < 1e-8 * (1.0 + np.abs(held[0]).max())


def check_energy(raw: dict[str, Any]) -> None:
    """Law: kinetic, weight and spring energy sum to a constant."""
    case, model, (_, states) = run(raw, 41)
    energy = total_energy(states, case, model, observe(states, model, ()))
    # 1e-9 a step over thousands of steps that mostly cancel
    assert np.abs(energy - energy[0]).max() < 1e-8 * kinetic_energy(states[0], model)


def check_impulse(raw: dict[str, Any]) -> None:
    """Law: momentum changes by the impulse of weight and of the mount forces written out, at the mounts' places."""
    case, model, (time, states) = run(raw, 401, 1.0)
    seen = observe(states, model, ())
    onto = np.array([1.0 if item.between[1] == "powertrain" else -1.0 for item in case.mount])
    force = onto[:, None] * seen.mount_force
    # force and reaction act on the second body's point: on the ground's, as drawn, or on the engine's, deflected
    at = np.array([item.at for item in case.mount]) + np.where(onto > 0.0, 1.0, 0.0)[:, None] * seen.mount_deflection
    mass, drawn = zip(*(places(y, case, model) for y in states), strict=True)
    weight = np.array([0.0, 0.0, -model.model.gravity])
    pull = sum(mass[0]) * weight + force.sum(axis=1)
    arms = np.array([m @ r for m, r in zip(mass, drawn, strict=True)])
    push = np.hstack([pull, np.cross(arms, weight) + np.cross(at, force).sum(axis=1)])
    change = particle_momentum(states[-1], case, model) - particle_momentum(states[0], case, model)
    # Simpson at 400 points a revolution: (2πn/400)⁴/180 = 6e-8 at order 4, and 1e-8 N s of the run itself
    span = np.ptp(np.abs(push), axis=0).max() * time[-1]
    assert simpson(push, x=time, axis=0) == pytest.approx(change, abs=1e-7 * span + 1e-8)


# one test each: the law, and the engines it is put to
CHECKS: dict[str, tuple[Callable[[dict[str, Any]], None], st.SearchStrategy]] = {
    "momentum": (check_momentum, engines()),
    "energy": (check_energy, mounted_engines()),
    "impulse": (check_impulse, mounted_engines()),
}


@pytest.mark.parametrize("law", CHECKS)
def test_any_engine_obeys(law: str) -> None:
    """Laws: momentum afloat, energy on mounts, impulse of the mount forces; a few engines of each."""
    check, drawn = CHECKS[law]
    QUICK(given(drawn)(check))()


@pytest.mark.slow
@pytest.mark.parametrize("law", CHECKS)
def test_any_engine_obeys_at_length(law: str) -> None:
    """The same laws, two hundred engines of each."""
    check, drawn = CHECKS[law]
    LONG(given(drawn)(check))()
