"""The push of an engine on its body taken apart: gas, reciprocating and rotating mass of every cylinder, shafts.

Derived: with the crank speed φ̇ of the whole engine over its cycle, the push −φ̇²·m' − (m/C)·(T − ½C'φ̇²) of
`frequency_push` is a sum, for m', C' and T are: a mass i gives −φ̇²·m_i' + (m/C)·½C_i'φ̇², the gas of a cylinder
−(m/C)·T_i, m and C of all parts together. The parts add up to the whole to rounding. What gas does to the speed, and
the speed to the masses' forces, goes with the masses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibsim.engine.moving_mass import Train, crank_weights
from vibsim.inputs.models import Engine
from vibsim.solver.frequency_push import HIGHEST_ORDER, POINTS_PER_TURN, crank_speed, integral, over_cycle, over_time
from vibsim.solver.motion import ENGINE
from vibsim.solver.moving_parts import A1_, A_, B1_, B_, C_
from vibsim.solver.packed import Packed
from vibsim.solver.rotor_linear import rotor_linear
from vibsim.solver.rotor_push import Course, course_of, course_push, on_engine

Kind = Literal["gas", "reciprocating", "rotating", "counterweights", "balance shaft"]


@dataclass(frozen=True)
class Source:
    """What pushes: its kind, and the cylinder or shaft it belongs to (empty for the crank's counterweights)."""

    kind: Kind
    owner: str


@dataclass(frozen=True)
class PushParts:
    """`amplitude` (sources, harmonics, unknowns) complex, harmonics as those of a `CyclePush`; `torque` (sources,
    harmonics, parts) likewise, of a case with rotors."""

    sources: tuple[Source, ...]
    amplitude: np.ndarray
    torque: np.ndarray | None = None


def push_parts(packed: Packed, engine: Engine, speed: float, load: float = 0.0) -> PushParts:
    """The push of every source on the bodies (vehicle axes) at a mean crank speed (rad/s), about a mean output torque
    (N m) where there are rotors."""
    if packed.model.rotors is not None:
        return _on_rotors(packed, engine, speed, load)
    turns = round(packed.period / (2.0 * math.pi))
    angles = np.linspace(0.0, packed.period, POINTS_PER_TURN * turns, endpoint=False)
    rows, gas = _over(angles, speed, packed, packed.model.train)
    crank = crank_speed(rows, gas, packed.period, speed)
    time = integral(1.0 / crank, packed.period)
    own, at = packed.axes[packed.model.carrier], 6 * packed.model.carrier
    sources, amplitudes = [], []
    for source, train in _trains(packed, engine):
        alone, torque = _over(angles, speed, packed, train)
        if source.kind == "gas":
            alone, turning = np.zeros_like(alone), (torque - torque.mean()) / rows[:, C_]
        else:
            turning = -0.5 * alone[:, C_ + 1] * crank**2 / rows[:, C_]
        push = np.zeros((len(angles), packed.unknowns))
        for column, whole, slope in ((at, A_, A1_), (at + 3, B_, B1_)):
            force = -(crank**2)[:, None] * alone[:, slope : slope + 3] - turning[:, None] * rows[:, whole : whole + 3]
            push[:, column : column + 3] = force @ own.T
        steady = over_time(push, angles, time, packed.period, packed.period / speed)
        amplitude = 2.0 * np.fft.fft(steady, axis=0)[: round(HIGHEST_ORDER * turns) + 1] / len(steady)
        amplitude[0] = 0.0
        sources.append(source)
        amplitudes.append(amplitude)
    return PushParts(tuple(sources), np.array(amplitudes))


def _on_rotors(packed: Packed, engine: Engine, speed: float, load: float) -> PushParts:
    """The same of a case with rotors, as `rotor_push` has the whole. What the varying inertia of pistons and rods does
    with the swing of the speed goes to the reciprocating masses in equal parts."""
    linear = rotor_linear(packed, load)
    assert linear is not None
    course = course_of(packed, speed, linear)
    trains = _trains(packed, engine)
    shared = [
        push / sum(source.kind == "reciprocating" for source, _ in trains) for push in course_push(packed, course)
    ]
    found = []
    for source, train in trains:
        pushes = _alone(packed, course, source, *_over(course.angles, speed, packed, train))
        if source.kind == "reciprocating":
            pushes = [own + share for own, share in zip(pushes, shared, strict=True)]
        found.append(course.amplitude(np.hstack(pushes)))
    size = packed.unknowns
    whole = np.array(found)
    return PushParts(tuple(source for source, _ in trains), whole[..., :size], whole[..., size:])


def _alone(packed: Packed, course: Course, source: Source, sums: np.ndarray, gas: np.ndarray) -> list[np.ndarray]:
    """Push of a source on bodies (n, unknowns) and on parts (n, parts), from the sums (n, ENGINE) over its masses and
    the torque (n) N m of its gas."""
    found, square = packed.drivetrain, course.speed**2
    assert found is not None and packed.layout is not None
    on_parts = np.zeros((len(gas), len(found.parts)))
    names = [cylinder.name for cylinder in packed.layout.cylinders]
    drives = [n for n in course.rows if source.owner in [names[index] for index in found.parts[n].cylinders]]
    at = drives[0] if drives else 0
    if source.kind == "gas":
        on_parts[:, at] = gas
        return [np.zeros((len(gas), packed.unknowns)), on_parts]
    on_parts[:, at] = -0.5 * sums[:, C_ + 1] * square
    return [on_engine(packed, sums, square), on_parts]


def _over(angles: np.ndarray, speed: float, packed: Packed, train: Train) -> tuple[np.ndarray, np.ndarray]:
    """Sums over the moving parts (n, ENGINE) and gas torque (n) with a train in the engine's place."""
    rows, gas = np.empty((len(angles), ENGINE)), np.empty(len(angles))
    over_cycle(angles, speed, packed.model._replace(train=train, rotors=None), rows, gas)
    return rows, gas


def _trains(packed: Packed, engine: Engine) -> list[tuple[Source, Train]]:
    """Every source with the train that holds nothing else."""
    whole, layout = packed.model.train, packed.layout
    assert layout is not None
    nothing = whole._replace(cylinders=whole.cylinders[:0], eccentrics=whole.eccentrics[:0])
    found: list[tuple[Source, Train]] = []
    for index, cylinder in enumerate(layout.cylinders):
        if packed.model.gas.active:
            others = np.arange(len(whole.cylinders)) != index
            found.append((Source("gas", cylinder.name), nothing._replace(cylinders=_less(whole, others, "area"))))
        one = nothing._replace(cylinders=whole.cylinders[index : index + 1])
        for kind, left_out in (("reciprocating", ("big_end",)), ("rotating", ("slider", "correction"))):
            alone = one._replace(cylinders=_less(one, np.array([True]), *left_out))
            found.append((Source(kind, cylinder.name), alone))  # type: ignore[arg-type]
    weights = len(crank_weights(engine, layout))
    if np.any(whole.eccentrics["unbalance"][:weights]):
        found.append((Source("counterweights", ""), nothing._replace(eccentrics=whole.eccentrics[:weights])))
    for index in range(weights, len(whole.eccentrics)):
        shaft = nothing._replace(eccentrics=whole.eccentrics[index : index + 1])
        found.append((Source("balance shaft", str(index - weights + 1)), shaft))
    return found


def _less(train: Train, which: np.ndarray, *entries: str) -> np.ndarray:
    """The train's cylinders, some without some of their masses or their area."""
    cylinders = train.cylinders.copy()
    for entry in entries:
        cylinders[entry][which] = 0.0
    return cylinders
