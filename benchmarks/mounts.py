"""What each mount law costs: the demo with the law in all four engine mounts, against linear ones in their place."""

from __future__ import annotations

import math
import tempfile
import time
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.figure import Figure
from vibsim.inputs.loader import build_case
from vibsim.solver.packed import pack
from vibsim.solver.simulate import no_progress
from vibsim.solver.start import error_control
from vibsim.solver.steady import settle
from vibsim.solver.stepper import REACHED_TIME, advance, grid, no_grid, start_stepper

ENGINE_MOUNTS = 4
STIFFNESS, DAMPING = [140.0, 70.0, 95.0], [0.2, 0.12, 0.16]
SIMULATED, RATE, TOLERANCE, MOST_STEPS = 0.25, 10_000.0, 1e-6, 10_000_000
MOST = 1.5  # times the linear mounts
# invented, of the size of real ones; the engine moves by tenths of a millimetre, past what friction and stops begin at
LAWS: dict[str, dict[str, Any]] = {
    "loss_factor": {"loss_factor": 0.15},
    "bump_stop": {
        "gap_x_mm": [-2.0, 2.0],
        "stop_stiffness_x_N_per_mm": [300.0, 300.0],
        "gap_z_mm": [-1.0, 1.0],
        "stop_stiffness_z_N_per_mm": [300.0, 300.0],
    },
    "relaxation": {"relaxation_ratio": [0.3, 0.2], "relaxation_time_ms": [5.0, 0.8]},
    "friction": {"friction_stiffness_N_per_mm": [50.0, 30.0, 40.0], "yield_deflection_mm": [0.2, 0.2, 0.2]},
    "hydraulic": {
        "piston_area_mm2": 2500.0,
        "upper_compliance_mm3_per_kPa": 30.0,
        "lower_compliance_mm3_per_kPa": 2600.0,
        "track_inertance_kg_per_m4": 3.8e6,
        "track_resistance_kPa_s_per_L": 105.0,
        "decoupler_area_mm2": 1500.0,
        "decoupler_travel_mm": 1.2,
        "decoupler_resistance_kPa_s_per_L": 20.0,
    },
    "table": {"file": "curve.csv"},
    "scheduled": {
        "speed_rpm": [1000.0, 3000.0, 6000.0],
        "stiffness_at_speed_N_per_mm": [STIFFNESS, [130.0, 60.0, 90.0], [200.0, 90.0, 120.0]],
        "damping_at_speed_N_s_per_mm": [DAMPING, DAMPING, DAMPING],
    },
}


def _write_curve(folder: Path) -> None:
    rows = ["deflection_mm,force_x_N,force_y_N,force_z_N"]
    for d in np.linspace(-12.0, 12.0, 25):
        rows.append(",".join(f"{value:.6g}" for value in (d, *(k * d * (1.0 + d * d / 200.0) for k in STIFFNESS))))
    (folder / "curve.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def _with_law(demo: Path, law: str) -> dict[str, Any]:
    """The demo with one law in the engine's mounts, rates alike."""
    raw = tomllib.loads(demo.read_text(encoding="utf-8"))
    rates = {} if law == "scheduled" else {"stiffness_N_per_mm": STIFFNESS, "damping_N_s_per_mm": DAMPING}
    for index, mount in enumerate(raw["mount"][:ENGINE_MOUNTS]):
        kept = {key: mount[key] for key in ("name", "between", "at_mm", "axes_deg") if key in mount}
        raw["mount"][index] = kept | rates | {"law": law} | LAWS.get(law, {})
    return raw


class _Run:
    """The settled case, ready to be integrated again and again."""

    def __init__(self, raw: dict[str, Any], folder: Path):
        case = build_case(raw)
        assert case.run is not None
        stepper, self.packed, _ = settle(case, case.run, pack(case, folder), no_progress)
        self.y = stepper.y.copy()
        self.control = error_control(self.packed, TOLERANCE, MOST_STEPS)

    def seconds(self) -> float:
        begin = time.perf_counter()
        stepper = start_stepper(self.y, self.packed.model, 1e-5)
        points = grid(0.0, 1.0 / RATE, round(SIMULATED * RATE) + 1, self.y.size)
        status = advance(stepper, self.packed.model, self.control, SIMULATED, math.inf, points, no_grid())
        if status != REACHED_TIME:
            raise RuntimeError(f"the integration with mounts of a law stopped with status {status}")
        return time.perf_counter() - begin


def mount_figures(demo: Path, repeats: int) -> list[Figure]:
    """Time with each law over that with linear mounts, best of repeats in turn."""
    figures = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _write_curve(folder)
        linear = _Run(_with_law(demo, "linear"), folder)
        for law in LAWS:
            run = _Run(_with_law(demo, law), folder)
            pairs = np.array([(run.seconds(), linear.seconds()) for _ in range(3 * repeats)])
            best = float(pairs[:, 0].min() / pairs[:, 1].min())
            worst = float((pairs[:, 0] / pairs[:, 1]).max())
            figures.append(Figure(f"mount_{law}_cost", f"{law} mounts over linear ones", "x", best, worst, MOST))
    return figures
