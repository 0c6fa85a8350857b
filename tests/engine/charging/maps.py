"""An invented compressor map of parabolic speed lines, as a CSV file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

HEADER = "corrected_speed_rpm,corrected_mass_flow_kg_per_s,total_pressure_ratio,isentropic_efficiency"
SPEEDS = (40e3, 65e3, 90e3, 110e3)
TEMPERATURE, PRESSURE = 298.15, 1e5


def rows() -> list[list[float]]:
    """Speed (rpm), flow (kg/s), ratio and efficiency of every point; unlike numbers of points on unlike lines."""
    found = []
    for number, speed in enumerate(SPEEDS):
        n = speed / 1e5
        for share in np.linspace(0.0, 1.0, 5 + number) ** 0.8:
            flow = 0.02 * n**1.3 + 0.045 * n**0.9 * share
            ratio = 1.0 + 0.40 * n**2 * (1.0 - 0.6 * share**2.5 - 0.02 * share)
            efficiency = 0.66 + 0.25 * share - 0.42 * share**2 - 0.05 * (n - 0.8) ** 2
            found.append([speed, round(flow, 6), round(ratio, 5), round(efficiency, 4)])
    return found


def write_map(path: Path, points: list[list[float]] | None = None, header: str = HEADER) -> Path:
    lines = [",".join(f"{value:g}" if value == value else "" for value in row) for row in points or rows()]
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path
