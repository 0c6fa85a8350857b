"""Scatter in rows: what is left at which probability, forecast against Monte Carlo, and which tolerance counts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.engine.balance_grade import permissible_eccentricity
from vibsim.studies.tolerance import Residual, RotorCheck, Scatter

PARTS = {"forward": (0,), "backward": (1,), "largest": (0, 1)}
LEVELS = {"median": 0.5, "p95": 0.95, "p99": 0.99}
STANDS_OUT = 3.0  # times the scatter; above it only the part of a change along the phasor changes its size
ABOUT_SHARES = (
    "share: of the variance of the largest size; where force or couple as drawn stands out of the scatter, a change "
    "across it only turns its direction and does not count"
)


def size_drawn(residual: Residual, part: str) -> float:
    """Size as drawn: of the forward or backward phasor, or of both, the long half axis of the ellipse."""
    return float(np.abs(residual.drawn[list(PARTS[part])]).sum())


def sizes_built(residual: Residual, part: str) -> np.ndarray:
    """Sizes (samples) as built."""
    return np.abs(residual.built[list(PARTS[part])]).sum(axis=0)


def residual_rows(scatter: Scatter) -> list[dict[str, Any]]:
    """One row per order, force or couple, and part: what is left, in N or N m, and forecast against Monte Carlo."""
    return [_residual_row(residual, part) for residual in scatter.residuals for part in PARTS]


def _residual_row(residual: Residual, part: str) -> dict[str, Any]:
    sizes = sizes_built(residual, part)
    levels = {name: float(value) for name, value in zip(LEVELS, _quantiles(sizes), strict=True)}
    rows = list(PARTS[part])
    change = np.sum(np.abs(residual.built[rows] - residual.drawn[rows, None]) ** 2, axis=0)
    square = np.sum(np.abs(residual.built[rows]) ** 2, axis=0)
    return {
        "order": residual.order,
        "what": residual.what,
        "part": part,
        "unit": "N" if residual.what == "force" else "N m",
        "as_drawn": size_drawn(residual, part),
        "mean": float(sizes.mean()),
        **levels,
        "in_F": {"as_drawn": size_drawn(residual, part) / residual.unit, "p95": levels["p95"] / residual.unit},
        "rms_change": {
            "first_order": change_forecast(residual, part),
            "monte_carlo": math.sqrt(change.mean()),
            "sampling_error": _root_error(change),
        },
        "rms_of_phasors": {
            "forecast": rms_forecast(residual, part),
            "monte_carlo": math.sqrt(square.mean()),
            "sampling_error": _root_error(square),
        },
        "standard_deviation": {"first_order": deviation_forecast(residual, part), "monte_carlo": float(sizes.std())},
    }


def _quantiles(sizes: np.ndarray) -> np.ndarray:
    return np.quantile(sizes, list(LEVELS.values()))


def _root_error(squares: np.ndarray) -> float:
    """Standard error of the root of a mean of squares, about 1/√(2N) of it for a normal variable."""
    mean = float(squares.mean())
    return 0.5 * float(squares.std()) / math.sqrt(len(squares) * mean) if mean > 0.0 else 0.0


def _steps(residual: Residual) -> np.ndarray:
    """Change of both phasors (2, v) for one standard deviation of each error, complex N or N m."""
    return residual.spread * np.array([residual.slopes.forward, residual.slopes.backward])


def change_forecast(residual: Residual, part: str) -> float:
    """Root mean square of the change of the phasors, to first order: √Σ σ²·|∂|² over independent errors."""
    return math.sqrt(float(np.sum(np.abs(_steps(residual)[list(PARTS[part])]) ** 2)))


def rms_forecast(residual: Residual, part: str) -> float:
    """Root mean square of the phasors as built, to second order.

    Derived: E|P + Δ|² = |P|² + Σ σ²·(|∂P|² + Re(P̄·∂²P)); an angle's ∂²P = i·k·∂P takes back what turning alone adds.
    """
    rows = list(PARTS[part])
    steps = _steps(residual)
    bend = residual.spread * 1j * residual.slopes.turns * steps
    growth = np.abs(steps) ** 2 + np.real(np.conj(residual.drawn)[:, None] * bend)
    return math.sqrt(max(float(np.sum(np.abs(residual.drawn[rows]) ** 2) + growth[rows].sum()), 0.0))


def deviation_forecast(residual: Residual, part: str) -> float | None:
    """Standard deviation of the size to first order, where every phasor of it stands out of its scatter; else None."""
    rows = PARTS[part]
    if not all(_stands_out(residual, row) for row in rows):
        return None
    return math.sqrt(float(size_variance(residual, part).sum()))


def _stands_out(residual: Residual, row: int) -> bool:
    scatter = math.sqrt(float(np.sum(np.abs(_steps(residual)[row]) ** 2)))
    return abs(residual.drawn[row]) > STANDS_OUT * max(scatter, 1e-9 * residual.unit)


def size_variance(residual: Residual, part: str) -> np.ndarray:
    """What each error (v) adds to the variance of the size, N² or (N m)², to first order.

    Derived: of a phasor that stands out of its scatter, the part of the change along it counts, added over both
    phasors as one error moves both; of one that does not, the whole change (its size is then no normal variable).
    """
    steps = _steps(residual)
    along, loose = np.zeros(steps.shape[1]), np.zeros(steps.shape[1])
    for row in PARTS[part]:
        if _stands_out(residual, row):
            along += np.real(np.conj(residual.drawn[row]) * steps[row]) / abs(residual.drawn[row])
        else:
            loose += np.abs(steps[row]) ** 2
    return along**2 + loose


def source_rows(scatter: Scatter) -> list[dict[str, Any]]:
    """One row per kind of error, in the order of SOURCES: its tolerance, and for each order of force and couple the rms
    change it brings (forward and backward together) and its share of the variance of the largest size."""
    rows = []
    for source in scatter.sources:
        row: dict[str, Any] = {
            "source": source.words,
            "option": source.option,
            "half_width": scatter.half_widths[source.key] / source.factor,
            "unit": source.unit,
            "usual": source.key not in scatter.plan.half_widths,
            "count": scatter.assembly.count(source.key),
            "on": [_source_share(residual, source.key) for residual in scatter.residuals],
        }
        rows.append(row)
    return rows


def _source_share(residual: Residual, key: str) -> dict[str, Any]:
    mine = residual.slopes.key == key
    variance = size_variance(residual, "largest")
    total = float(variance.sum())
    negligible = math.sqrt(total) < 1e-9 * residual.unit
    return {
        "order": residual.order,
        "what": residual.what,
        "unit": "N" if residual.what == "force" else "N m",
        "rms_change": math.sqrt(float(np.sum(np.abs(_steps(residual)[:, mine]) ** 2))),
        "share_of_variance": None if negligible else float(variance[mine].sum()) / total,
    }


def ranked(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Sources with the greatest first, by their shares of first-order force and couple together."""

    def weight(row: dict[str, Any]) -> float:
        return sum(on["share_of_variance"] or 0.0 for on in row["on"] if on["order"] == 1)

    return sorted(rows, key=weight, reverse=True)


def rotor_row(check: RotorCheck, speed: float) -> dict[str, Any]:
    """Permissible unbalance and what the turning parts as built have, g mm; `speed` rad/s."""
    return {
        "grade_mm_per_s": check.rotor.grade,
        "rotor_mass_kg": check.rotor.mass,
        "speed_rpm": speed * 30.0 / math.pi,
        "permissible_eccentricity_um": 1e6 * permissible_eccentricity(check.rotor.grade, speed),
        "permissible_unbalance_g_mm": 1e6 * check.whole,
        "planes": [
            {
                "at_mm": 1e3 * at,
                "permissible_g_mm": 1e6 * allotted,
                **{f"{name}_g_mm": 1e6 * float(v) for name, v in zip(LEVELS, _quantiles(sizes), strict=True)},
                "share_within": float(np.mean(sizes <= allotted)),
            }
            for at, allotted, sizes in zip(check.planes, check.allotted, check.unbalance, strict=True)
        ],
        "share_within": check.within,
        "sampling_error": math.sqrt(check.within * (1.0 - check.within) / check.unbalance.shape[1]),
    }


def as_dict(scatter: Scatter) -> dict[str, Any]:
    """Plain numbers for machines."""
    speed = scatter.balance.about_crank.speed
    return {
        "speed_rpm": speed * 30.0 / math.pi,
        "primary_force_of_one_cylinder_N": scatter.balance.unit,
        "couple_unit_N_m": scatter.balance.couple_unit,
        "samples": scatter.plan.samples,
        "seed": scatter.plan.seed,
        "distribution": scatter.plan.distribution,
        "residuals": residual_rows(scatter),
        "sources": source_rows(scatter),
        "rotor": None if scatter.rotor is None else rotor_row(scatter.rotor, speed),
    }
