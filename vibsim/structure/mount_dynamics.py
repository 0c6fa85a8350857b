"""Dynamic stiffness of a mount: its law made linear about a deflection, or driven with a sine of a stated amplitude."""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.inputs.mount_models import FrictionMount, MountBase, TorqueRodMount
from vibsim.jit import kernel
from vibsim.structure.bouc_wen import loop_stiffness
from vibsim.structure.mount_laws import DF, DV, D
from vibsim.structure.mount_pack import pack_mounts
from vibsim.structure.mounts import mount_force, rest_states

COLUMNS = DF + 3
LENGTH_STEP, SPEED_STEP = 1e-6, 1e-4  # m, m/s: as the linear model of the bodies takes
STATE_STEP = 1e-5  # of the size that a state's error is a share of
AMPLITUDE = 1e-4  # m, at which friction is made linear unless another is stated


class Alone(NamedTuple):
    """One mount by itself, its states numbered from 0: record (1), numbers, sizes of its states (n), and the deflection
    (3) of its drawn place in its own axes, nought but for a rod."""

    records: np.ndarray
    numbers: np.ndarray
    floors: np.ndarray
    drawn: np.ndarray


def alone(mount: MountBase, folder: Path) -> Alone:
    """A mount packed by itself. Raises InputError for a file that its law needs."""
    free = mount.model_copy(update={"axes": (0.0, 0.0, 0.0)}) if hasattr(mount, "axes") else mount
    packed = pack_mounts((free,), [], [], [], folder, 0)
    drawn = np.array(mount.to) - np.array(mount.at) if isinstance(mount, TorqueRodMount) else np.zeros(3)
    return Alone(packed.records, packed.numbers, np.array([state.floor for state in packed.states]), drawn)


@kernel
def _evaluate(records, numbers, y, d, v, speed, force, rates):
    """Force (3) and rates of the states at deflection d (3), its rate v (3) and states y."""
    w = np.zeros((1, COLUMNS))
    for k in range(3):
        w[0, D + k], w[0, DV + k] = d[k], v[k]
    mount_force(records[0], numbers, y, rates, w, speed)
    for k in range(3):
        force[k] = w[0, DF + k]


@kernel
def _rest(records, numbers, y, d):
    w = np.zeros((1, COLUMNS))
    for k in range(3):
        w[0, D + k] = d[k]
    if records[0].state >= 0:
        rest_states(records[0], numbers, y, w)


@kernel
def _drive(records, numbers, y, d, v, step, speed, force):
    """Forces (n + 1, 3) along a motion given at half steps (2n + 1, 3), the states by the classical Runge–Kutta."""
    size = y.size
    k1, k2, k3, k4, trial = np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size)
    _evaluate(records, numbers, y, d[0], v[0], speed, force[0], k1)
    for n in range(force.shape[0] - 1):
        middle, after = 2 * n + 1, 2 * n + 2
        for i in range(size):
            trial[i] = y[i] + 0.5 * step * k1[i]
        _evaluate(records, numbers, trial, d[middle], v[middle], speed, force[n + 1], k2)
        for i in range(size):
            trial[i] = y[i] + 0.5 * step * k2[i]
        _evaluate(records, numbers, trial, d[middle], v[middle], speed, force[n + 1], k3)
        for i in range(size):
            trial[i] = y[i] + step * k3[i]
        _evaluate(records, numbers, trial, d[after], v[after], speed, force[n + 1], k4)
        for i in range(size):
            y[i] += step / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i])
        _evaluate(records, numbers, y, d[after], v[after], speed, force[n + 1], k1)


def drive(mount: Alone, deflection: np.ndarray, rate: np.ndarray, step: float, speed: float = 0.0) -> np.ndarray:
    """Force (n + 1, 3) on the second body along a motion in mount axes, given with its rate at half steps (2n + 1, 3).

    The mount starts at rest at the first deflection; `step` in s, `speed` that of the crank (rad/s).
    """
    y, force = np.zeros(max(len(mount.floors), 1)), np.zeros((len(deflection) // 2 + 1, 3))
    whole = deflection + mount.drawn
    _rest(mount.records, mount.numbers, y, whole[0])
    _drive(mount.records, mount.numbers, y, whole, rate, step, speed, force)
    return force


def dynamic_stiffness(
    mount: MountBase,
    frequency: np.ndarray | float,
    preload: np.ndarray | None = None,
    folder: Path = Path(),
    amplitude: float = AMPLITUDE,
    speed: float = 0.0,
) -> np.ndarray:
    """Complex stiffness (..., 3, 3) N/m in the mount's axes at frequencies (...) Hz: force that deflects = K·d·e^{iωt}.

    The law is made linear about a deflection `preload` (3) m in the mount's axes with its states at rest there, by
    central differences: K = −(F_d + iω·F_v) − F_y·(iω − R_y)⁻¹·(R_d + iω·R_v) with F the force and R the rates of the
    states (derived). Friction has no slope to take at rest: it enters by its equivalent linear stiffness at an
    `amplitude` (m), first harmonic and energy of its loop. `speed` (rad/s) is that of the crank. Raises InputError.
    """
    packed = alone(mount, folder)
    base = packed.drawn + (np.zeros(3) if preload is None else np.asarray(preload, dtype=float))
    turn = 2j * math.pi * np.asarray(frequency, dtype=float)[..., None, None]
    slopes = _slopes(packed, base, speed)
    if isinstance(mount, FrictionMount):
        plain = -slopes.force_d - turn * slopes.force_v
        loops = [
            loop_stiffness(k, u, mount.exponent, amplitude)
            for k, u in zip(mount.friction_stiffness, mount.yield_deflection, strict=True)
        ]
        return plain + np.diag(loops)
    stiffness = -slopes.force_d - turn * slopes.force_v
    if len(packed.floors):
        inner = turn * np.eye(len(packed.floors)) - slopes.rate_y
        stiffness = stiffness - slopes.force_y @ np.linalg.solve(inner, slopes.rate_d + turn * slopes.rate_v)
    return stiffness


class _Slopes(NamedTuple):
    force_d: np.ndarray
    force_v: np.ndarray
    force_y: np.ndarray
    rate_d: np.ndarray
    rate_v: np.ndarray
    rate_y: np.ndarray


def _slopes(mount: Alone, base: np.ndarray, speed: float) -> _Slopes:
    """Slopes of force (3) and of the states' rates (n) with deflection, its rate and the states, these in own sizes."""
    count = len(mount.floors)
    rest = np.zeros(max(count, 1))
    _rest(mount.records, mount.numbers, rest, base)
    steps = np.concatenate([np.full(3, LENGTH_STEP), np.full(3, SPEED_STEP), STATE_STEP * mount.floors])
    columns = []
    for index, step in enumerate(steps):
        sides = []
        for sign in (1.0, -1.0):
            x = np.concatenate([base, np.zeros(3), rest])
            x[index] += sign * step
            force, rates = np.zeros(3), np.zeros(rest.size)
            _evaluate(mount.records, mount.numbers, x[6:].copy(), x[:3], x[3:6], speed, force, rates)
            sides.append(np.concatenate([force, rates[:count]]))
        columns.append((sides[0] - sides[1]) / (2.0 * step))
    slope = np.array(columns).T
    scale = mount.floors
    return _Slopes(
        force_d=slope[:3, :3],
        force_v=slope[:3, 3:6],
        force_y=slope[:3, 6:] * scale,
        rate_d=slope[3:, :3] / scale[:, None],
        rate_v=slope[3:, 3:6] / scale[:, None],
        rate_y=slope[3:, 6:] * scale / scale[:, None],
    )


def driven_stiffness(
    mount: Alone, frequency: float, amplitude: float, axis: int, preload: np.ndarray, cycles: int = 12, steps: int = 400
) -> complex:
    """First harmonic of the force (N/m, that which deflects) along one axis under a sine of a stated amplitude (m)
    about a deflection `preload` (3) m, from the last of some cycles in the time domain."""
    count = max(steps, math.ceil(8e3 / frequency))  # the fastest state relaxes in no less than one step
    phase = np.linspace(0.0, 2.0 * math.pi * cycles, 2 * cycles * count + 1)
    motion, rate = np.tile(preload, (phase.size, 1)), np.zeros((phase.size, 3))
    motion[:, axis] += amplitude * np.sin(phase)
    rate[:, axis] = 2.0 * math.pi * frequency * amplitude * np.cos(phase)
    force = -drive(mount, motion, rate, 1.0 / (frequency * count))[-count:, axis]
    turn = np.exp(-2j * math.pi * (np.arange(count) + 1.0) / count)
    return complex(2j * np.mean(force * turn) / amplitude)
