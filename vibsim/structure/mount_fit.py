"""Mount laws fitted to measured dynamic stiffness, by least squares."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.mount_data import DynamicData
from vibsim.structure.bouc_wen import loop_stiffness
from vibsim.structure.loss_chain import chain_stiffness, loss_chain

Keys = dict[str, float | tuple[float, ...]]


@dataclass(frozen=True)
class Fit:
    """A law fitted to data of one axis.

    `keys` of the mount's table in SI units, of that one axis; `fitted` (n) complex stiffness at the points of the data,
    `error` (n) its distance from the data as a share of the measured size (without loss angles, of the sizes).
    """

    law: str
    data: DynamicData
    keys: Keys
    fitted: np.ndarray
    error: np.ndarray


def fit_law(law: str, data: DynamicData, elements: int = 3, piston_area: float = 2.5e-3) -> Fit:
    """Fit `relaxation`, `hydraulic`, `loss_factor` (over frequency) or `friction` (over amplitude).

    `elements` of a relaxation chain; `piston_area` (m²) sets the scale of volumes and pressures, which the stiffness
    does not show. Raises InputError when the data cannot hold so many keys, RunFailure when no fit is found.
    """
    keys, model = FITS[law](data, elements, piston_area)
    fitted = model()
    if data.loss_angle is None:
        error = np.abs(np.abs(fitted) / data.stiffness - 1.0)
    else:
        error = np.abs(fitted - _measured(data)) / data.stiffness
    return Fit(law, data, keys, fitted, error)


def _measured(data: DynamicData) -> np.ndarray:
    assert data.loss_angle is not None
    return data.stiffness * np.exp(1j * data.loss_angle)


def _least(model: Callable[[np.ndarray], np.ndarray], data: DynamicData, starts: list[np.ndarray]) -> np.ndarray:
    """Keys, all positive, that bring a model nearest the data in shares of its size; the best of some starts."""
    from scipy.optimize import least_squares

    def residual(x: np.ndarray) -> np.ndarray:
        found = model(np.exp(x))
        if data.loss_angle is None:
            return np.abs(found) / data.stiffness - 1.0
        off = (found - _measured(data)) / data.stiffness
        return np.concatenate([off.real, off.imag])

    keys, rows = starts[0].size, data.stiffness.size * (1 if data.loss_angle is None else 2)
    if rows < keys:
        raise InputError(f"{data.path}: has {rows} numbers to fit {keys} keys; give more points or fewer --elements")
    tries = [least_squares(residual, np.log(start), bounds=(-60.0, 60.0), x_scale="jac") for start in starts]
    best = min(tries, key=lambda item: item.cost)
    if not np.isfinite(best.cost):
        raise RunFailure(f"{data.path}: no fit found; check the data against the law")
    return np.exp(best.x)


def _relaxation(data: DynamicData, elements: int, piston_area: float) -> tuple[Keys, Callable[[], np.ndarray]]:
    frequency = _frequency(data)

    def model(x: np.ndarray) -> np.ndarray:
        return x[0] * (1.0 + chain_stiffness(frequency, x[1 : elements + 1], x[elements + 1 :]))

    middle = np.geomspace(frequency[0], frequency[-1], elements + 2)[1:-1]
    loss = max(float(np.tan(np.abs(data.loss_angle).mean())), 0.02) if data.loss_angle is not None else 0.1
    starts = [
        np.concatenate(([data.stiffness[0]], np.full(elements, ratio * loss), 1.0 / (2.0 * math.pi * middle)))
        for ratio in (0.5, 1.5)
    ]
    x = _least(model, data, starts)
    order = np.argsort(x[elements + 1 :])[::-1]
    keys: Keys = {
        "stiffness": float(x[0]),
        "relaxation_ratio": tuple(x[1 : elements + 1][order].tolist()),
        "relaxation_time": tuple(x[elements + 1 :][order].tolist()),
    }
    return keys, lambda: model(x)


def _loss_factor(data: DynamicData, elements: int, piston_area: float) -> tuple[Keys, Callable[[], np.ndarray]]:
    """The chain's own stiffness is fitted, in stiffness and loss factor, over the band of the data."""
    frequency = _frequency(data)
    band = float(frequency[0]), float(frequency[-1])

    def model(x: np.ndarray) -> np.ndarray:
        chain = loss_chain(min(x[1], 1.0), band, elements)
        return x[0] * (chain.long_term + chain_stiffness(frequency, chain.ratios, chain.times))

    assert data.loss_angle is not None
    start = np.array([np.median(data.stiffness), max(float(np.tan(np.median(data.loss_angle))), 0.01)])
    x = _least(model, data, [start])
    keys: Keys = {"stiffness": float(x[0]), "loss_factor": float(min(x[1], 1.0)), "band": band}
    if elements != 3:
        keys["elements"] = float(elements)
    return keys, lambda: model(x)


def _friction(data: DynamicData, elements: int, piston_area: float) -> tuple[Keys, Callable[[], np.ndarray]]:
    amplitude = data.amplitude
    assert amplitude is not None

    turn = 2j * math.pi * (data.at or 0.0)
    if data.loss_angle is not None and data.at is None:
        raise InputError(f"--frequency-hz: is missing; the loss angles of {data.path} were measured at some frequency")

    def model(x: np.ndarray) -> np.ndarray:
        exponent, drag = min(1.0 + x[3], 10.0), turn * x[4] if data.loss_angle is not None else 0.0
        return np.array([x[0] + drag + loop_stiffness(x[1], x[2], exponent, size) for size in amplitude])

    soft, stiff = float(data.stiffness.min()), float(data.stiffness.max())
    if stiff - soft < 1e-3 * stiff:
        raise InputError(f"{data.path}: stiffness does not change with amplitude; there is no friction to fit")
    middle = math.sqrt(amplitude[0] * amplitude[-1])
    drag = [] if data.loss_angle is None else [0.05 * soft / abs(turn)]
    starts = [np.array([0.9 * soft, stiff - 0.9 * soft, scale * middle, 0.3, *drag]) for scale in (0.5, 2.0)]
    x = _least(model, data, starts)
    keys: Keys = {
        "stiffness": float(x[0]),
        "friction_stiffness": float(x[1]),
        "yield_deflection": float(x[2]),
        "exponent": float(min(1.0 + x[3], 10.0)),
    }
    if drag:
        keys["damping"] = float(x[4])
    return keys, lambda: model(x)


def hydraulic_stiffness(frequency: np.ndarray, x: np.ndarray, area: float) -> np.ndarray:
    """Kr + iω·B + A²/C₁·(I·s² + R·s + 1/C₂)/(I·s² + R·s + 1/C₁ + 1/C₂) with x = Kr, B, C₁, C₂, I, R in SI (form: Singh,
    Kim and Ravindra 1992, from memory)."""
    s = 2j * math.pi * frequency
    rubber, drag, upper, lower, inertance, loss = x
    own = (inertance * s + loss) * s
    return rubber + drag * s + area**2 / upper * (own + 1.0 / lower) / (own + 1.0 / upper + 1.0 / lower)


def _hydraulic(data: DynamicData, elements: int, piston_area: float) -> tuple[Keys, Callable[[], np.ndarray]]:
    """Started from what the curve shows: stiffness at either end, and the track tuned near the greatest loss angle."""
    frequency = _frequency(data)
    assert data.loss_angle is not None
    peak = 2.0 * math.pi * frequency[int(data.loss_angle.argmax())]
    low, high = data.stiffness[0], data.stiffness[-1]
    bulge = max(high - low, 0.1 * low)
    upper = piston_area**2 / bulge
    starts = [
        np.array([0.95 * low, 10.0, upper, 30.0 * upper, 1.0 / (upper * (tune * peak) ** 2), loss * peak / upper])
        for tune in (1.0, 1.3)
        for loss in (0.3 / peak**2, 1.0 / peak**2)
    ]

    def model(x: np.ndarray) -> np.ndarray:
        return hydraulic_stiffness(frequency, x, piston_area)

    x = _least(model, data, starts)
    names = ("damping", "upper_compliance", "lower_compliance", "track_inertance", "track_resistance")
    keys: Keys = {"stiffness": float(x[0]), "piston_area": piston_area}
    keys |= dict(zip(names, x[1:].tolist(), strict=True))
    return keys, lambda: model(x)


def _frequency(data: DynamicData) -> np.ndarray:
    assert data.frequency is not None
    return data.frequency


FITS: dict[str, Callable[[DynamicData, int, float], tuple[Keys, Callable[[], np.ndarray]]]] = {
    "relaxation": _relaxation,
    "loss_factor": _loss_factor,
    "friction": _friction,
    "hydraulic": _hydraulic,
}
OVER = {"relaxation": "frequency", "loss_factor": "frequency", "friction": "amplitude", "hydraulic": "frequency"}
