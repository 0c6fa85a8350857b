"""Courses over crank angle as CSV, for a spreadsheet or another calculation."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import VibsimError
from vibsim.studies.balance import Balance


def write_columns(columns: dict[str, np.ndarray], path: Path) -> list[Path]:
    """Write columns (n each) by title into a CSV file. Raises VibsimError when that cannot be done."""
    rows = [[f"{value:.8g}" for value in row] for row in np.column_stack(list(columns.values()))]
    return write_rows(list(columns), rows, path)


def write_rows(header: list[str], rows: list[list[str]], path: Path) -> list[Path]:
    """Write a CSV file, its folder made if absent; beside first, so that no half file stays.

    Raises VibsimError when that cannot be done.
    """
    beside = path.with_suffix(".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with beside.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(header)
            writer.writerows(rows)
        beside.replace(path)
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror}); expected a folder") from None
    return [path]


def write_balance(balance: Balance, folder: Path) -> list[Path]:
    """Write balance.csv: free force and moments per crank angle in engine axes, moments about the crank's origin and
    about the centre of mass of its body (roll by inertia in them)."""
    free = balance.about_crank
    columns = {
        "crank_angle_deg": np.degrees(free.angle),
        "force_y_N": -free.force.imag,
        "force_z_N": free.force.real,
        "inertia_torque_on_crank_N_m": free.torque,
    }
    for name, about in (("crank_origin", free), ("centre_of_mass", balance.about_mass)):
        courses = {"x": about.roll, "y": -about.couple.real, "z": -about.couple.imag}
        columns |= {f"moment_{axis}_about_{name}_N_m": course for axis, course in courses.items()}
    return write_columns(columns, folder / "balance.csv")
