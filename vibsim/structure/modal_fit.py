"""Elastic modes of a body identified from measured frequency responses (UFF, dataset 58).

Poles by least-squares complex frequency (Guillaume, Verboven & Vanlanduyt, ISMA 1998, from memory), those that agree
from model order to model order; then poles, real residues and residuals of all responses together by nonlinear least
squares (variable projection). Normal modes, as the elastic modes of a body here are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from vibsim.inputs.errors import InputError
from vibsim.inputs.flexible_models import ElasticMode, ElasticModes

FREQUENCY_RESPONSE, POINT = 4, 58  # function type and dataset of the format
RESPONSES = {8: 0, 11: 1, 12: 2}  # displacement, velocity, acceleration: powers of iω
FORCE = 13
LARGEST_ORDER = 30  # of the common denominator
SAME_FREQUENCY, SAME_DAMPING = 0.01, 0.10  # relative, from one order to the next (common practice)
LEAST_TIMES = 3  # orders in a row that a pole must agree over
MOST_DAMPING = 0.3
POOR = 0.10  # of the responses, rms: a fit worth a warning

Direction = tuple[int, int]  # node, 1 to 3 for x, y, z


@dataclass(frozen=True)
class Responses:
    """Accelerance (responses, n) m/s² per N at frequencies (n) Hz of one force; `points` where and along what, `force`
    the same of the force."""

    frequency: np.ndarray
    accelerance: np.ndarray
    points: tuple[Direction, ...]
    force: Direction

    @property
    def driving(self) -> int:
        return self.points.index(self.force)


@dataclass(frozen=True)
class ModalFit:
    """Natural frequencies (n) rad/s, damping ratios (n), mass-normalised shapes (n, responses) 1/√kg; residual
    flexibility of what lies above at the force (m/N); `error` of the fit, rms over the rms of the responses."""

    frequency: np.ndarray
    damping: np.ndarray
    shape: np.ndarray
    flexibility: float
    error: float


def measured_modes(table: ElasticModes, folder: Path, where: str) -> tuple[tuple[ElasticMode, ...], list[str]]:
    """Modes of a body from the responses in a file, and what to say of them. Raises InputError."""
    assert table.frf_file is not None and table.lowest_frequency is not None and table.highest_frequency is not None
    key = f"{where}.frf_file"
    measured = read_responses(folder / table.frf_file, key)
    low, high = table.lowest_frequency, table.highest_frequency
    band = (measured.frequency >= low) & (measured.frequency <= high)
    if band.sum() < 20:
        raise InputError(f"{key}: '{table.frf_file}': has {band.sum()} points from {low:g} to {high:g} Hz; needs 20")
    fit = fit_modes(Responses(measured.frequency[band], measured.accelerance[:, band], measured.points, measured.force))
    if not len(fit.frequency):
        raise InputError(f"{key}: '{table.frf_file}': no mode found from {low:g} to {high:g} Hz")
    found = []
    for n, rate in enumerate(fit.frequency):
        shape: dict[str, tuple[float, ...]] = {
            name: _at_node(fit, measured, n, node, f"{where}.node.{name}") for name, node in table.node.items()
        }
        found.append(ElasticMode(frequency=rate / (2.0 * math.pi), damping_ratio=float(fit.damping[n]), shape=shape))
    at_force = fit.shape[:, measured.driving] ** 2 / fit.frequency**2
    beyond = abs(fit.flexibility) / (abs(fit.flexibility) + at_force.sum())
    words = f"fitted from {low:g} to {high:g} Hz to {100.0 * fit.error:.2g} % rms of the responses"
    notes = [
        f"'{table.frf_file}': {len(found)} modes {words}; modes above hold {100.0 * beyond:.2g} % of the elastic "
        "flexibility at the force and are left out"
    ]
    if fit.error > POOR:
        notes.append(f"'{table.frf_file}': the fit is poor; narrow lowest_frequency_Hz to highest_frequency_Hz")
    return tuple(found), notes


def _at_node(fit: ModalFit, measured: Responses, mode: int, node: int, key: str) -> tuple[float, float, float]:
    """Shape at a node, 0 along what was not measured."""
    if not any(point[0] == node for point in measured.points):
        known = ", ".join(str(number) for number in sorted({point[0] for point in measured.points}))
        raise InputError(f"{key}: got {node}; the file has no response there, but at {known}")
    entries = [0.0, 0.0, 0.0]
    for n, (at, direction) in enumerate(measured.points):
        if at == node:
            entries[direction - 1] = float(fit.shape[mode, n])
    return entries[0], entries[1], entries[2]


def read_responses(path: Path, key: str) -> Responses:
    """Responses to one force, the driving point among them, from dataset 58 of a file, SI units.

    Accelerance, mobility and receptance are taken. Raises InputError.
    """
    sets = [item for item in _datasets(path, key) if item.get("type") == POINT]
    rows = [item for item in sets if int(item.get("func_type", 0)) == FREQUENCY_RESPONSE]
    if not rows:
        raise InputError(f"{key}: '{path}': has no frequency response (dataset 58, function type 4)")
    frequency = np.asarray(rows[0]["x"], dtype=float)
    found: dict[Direction, dict[Direction, np.ndarray]] = {}
    for item in rows:
        if len(item["x"]) != len(frequency) or not np.allclose(item["x"], frequency):
            raise InputError(f"{key}: '{path}': its responses are not at the same frequencies")
        force, force_sign = _direction(item, "ref", key, path)
        point, sign = _direction(item, "rsp", key, path)
        found.setdefault(force, {})[point] = force_sign * sign * _accelerance(item, frequency, key, path)
    driven = [force for force, responses in found.items() if force in responses]
    if not driven:
        raise InputError(f"{key}: '{path}': has no response at the point and along the force itself")
    force = max(driven, key=lambda candidate: len(found[candidate]))
    moving = frequency > 0.0
    points = tuple(found[force])
    return Responses(frequency[moving], np.array([found[force][point][moving] for point in points]), points, force)


def _datasets(path: Path, key: str) -> list[dict[str, Any]]:
    try:
        import pyuff
    except ImportError:
        raise InputError(f"{key}: reading UFF needs the library pyuff; pip install 'vibsim[uff]'") from None
    if not path.is_file():
        raise InputError(f"{key}: '{path}': no such file")
    try:
        sets = pyuff.UFF(str(path)).read_sets()
    except Exception as error:
        raise InputError(f"{key}: '{path}': cannot be read as UFF ({error})") from None
    return sets if isinstance(sets, list) else [sets]


def _direction(item: dict[str, Any], end: str, key: str, path: Path) -> tuple[Direction, float]:
    node, direction = int(item[f"{end}_node"]), int(item[f"{end}_dir"])
    if abs(direction) not in (1, 2, 3):
        raise InputError(
            f"{key}: '{path}': node {node}: direction {direction}; must be 1 to 3 for x, y, z, or minus that"
        )
    return (node, abs(direction)), math.copysign(1.0, direction)


def _accelerance(item: dict[str, Any], frequency: np.ndarray, key: str, path: Path) -> np.ndarray:
    kind, force = int(item.get("ordinate_spec_data_type", 0)), int(item.get("orddenom_spec_data_type", 0))
    if kind not in RESPONSES or force != FORCE:
        raise InputError(
            f"{key}: '{path}': node {item['rsp_node']}: data types {kind} over {force}; must be displacement (8), "
            "velocity (11) or acceleration (12) over force (13)"
        )
    return np.asarray(item["data"], dtype=complex) * (2j * math.pi * frequency) ** (2 - RESPONSES[kind])


def fit_modes(measured: Responses) -> ModalFit:
    """Modes of responses to one force; none if no pole agrees from order to order."""
    rates = 2.0 * math.pi * measured.frequency
    start = stable_poles(rates, measured.accelerance)
    size = np.linalg.norm(measured.accelerance)
    if not len(start):
        return ModalFit(np.zeros(0), np.zeros(0), np.zeros((0, len(measured.points))), 0.0, 1.0)

    def left(x: np.ndarray) -> np.ndarray:
        matrix = _basis(rates, x)
        known = _stacked(measured.accelerance.T)
        return ((known - matrix @ np.linalg.lstsq(matrix, known, rcond=None)[0]) / size).ravel()

    x = np.concatenate([np.abs(start), -start.real / np.abs(start)])
    scale = np.concatenate([np.abs(start), np.full(len(start), 0.01)])
    low = np.concatenate([0.9 * np.abs(start), np.full(len(start), 1e-6)])
    high = np.concatenate([1.1 * np.abs(start), np.full(len(start), MOST_DAMPING)])
    x = least_squares(left, np.clip(x, low, high), bounds=(low, high), x_scale=scale, xtol=1e-10, ftol=1e-10).x
    error = float(np.linalg.norm(left(x)))
    residues = np.linalg.lstsq(_basis(rates, x), _stacked(measured.accelerance.T), rcond=None)[0]
    count = len(start)
    driving = residues[:count, measured.driving]
    seen = np.flatnonzero(driving > 0.0)
    seen = seen[np.argsort(x[seen])]
    shape = residues[seen] / np.sqrt(driving[seen])[:, None]
    return ModalFit(x[seen], x[count + seen], shape, float(residues[-1, measured.driving]), error)


def _basis(rates: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Real matrix (2 frequencies, modes + 2) of accelerances of unit residues, of a free mass and of a flexibility."""
    count = len(x) // 2
    square = rates[:, None] ** 2
    below = x[:count] ** 2 - square + 2j * x[count:] * x[:count] * rates[:, None]
    return _stacked(np.hstack([-square / below, np.ones_like(square), -square]))


def _stacked(values: np.ndarray) -> np.ndarray:
    return np.vstack([np.real(values), np.imag(values)])


def stable_poles(rates: np.ndarray, accelerance: np.ndarray) -> np.ndarray:
    """Poles (rad/s, imaginary part positive) that agree over several orders of the common denominator."""
    tracks: list[list[complex]] = []
    for order in range(4, min(LARGEST_ORDER, len(rates) // 2) + 1, 2):
        poles = list(_poles(rates, accelerance, order))
        for track in tracks:
            near = [pole for pole in poles if _agree(pole, track[-1])]
            if near:
                best = min(near, key=lambda pole: abs(pole - track[-1]))
                track.append(best)
                poles.remove(best)
        tracks += [[pole] for pole in poles]
    kept = [track[-1] for track in tracks if len(track) > LEAST_TIMES]
    apart: list[complex] = []
    for pole in sorted(kept, key=abs):
        if not apart or abs(abs(pole) - abs(apart[-1])) > SAME_FREQUENCY * abs(pole):
            apart.append(pole)
    return np.array(apart, dtype=complex)


def _agree(one: complex, other: complex) -> bool:
    ratios = -one.real / abs(one), -other.real / abs(other)
    same = abs(abs(one) - abs(other)) < SAME_FREQUENCY * abs(other)
    return same and abs(ratios[0] - ratios[1]) < SAME_DAMPING * max(ratios[1], 0.005)


def _poles(rates: np.ndarray, accelerance: np.ndarray, order: int) -> np.ndarray:
    """Poles within the band of the common denominator of an order, real coefficients of z = e^{iωΔt}."""
    step = math.pi / (1.02 * rates[-1])
    powers = np.exp(1j * step * np.outer(rates, np.arange(order + 1)))
    weight = 1.0 / np.maximum(np.abs(accelerance).mean(axis=1), 1e-30)
    top = np.real(powers.conj().T @ powers)
    inverse, total = np.linalg.pinv(top, hermitian=True), np.zeros((order + 1, order + 1))
    for row, scale in zip(accelerance, weight, strict=True):
        seen = -scale * row[:, None] * powers
        across = np.real(powers.conj().T @ seen)
        total += np.real(seen.conj().T @ seen) - across.T @ inverse @ across
    free = np.linalg.lstsq(total[:order, :order], -total[:order, order], rcond=None)[0]
    z = np.roots(np.append(free, 1.0)[::-1])
    s = np.log(z[np.abs(z) > 0.0]) / step
    ratio = -s.real / np.maximum(np.abs(s), 1e-30)
    inside = (s.imag > 0.0) & (np.abs(s) >= rates[0]) & (np.abs(s) <= rates[-1])
    return s[inside & (ratio > 0.0) & (ratio < MOST_DAMPING)]
