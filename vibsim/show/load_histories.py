"""Histories of pin and bearing loads as CSV, for a spreadsheet or a bearing calculation."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from vibsim.engine.pin_loads import in_crank_frame
from vibsim.show.histories import write_columns
from vibsim.studies.loads import Loads


def write_histories(loads: Loads, folder: Path) -> list[Path]:
    """Write loads.csv into a folder, made if absent: one row per crank angle, forces in N.

    Wrist pins along the cylinder (away from the crank) and across it (in the direction of rotation: the thrust on the
    wall); crankpins and main bearings along engine axes y and z; crankpins also outward along the throw and ahead of
    it.
    """
    return write_columns(_columns(loads), folder / "loads.csv")


def _columns(loads: Loads) -> dict[str, np.ndarray]:
    total = loads.pins.total
    columns = {"crank_angle_deg": np.degrees(loads.pins.angle)}
    for index, cylinder in enumerate(loads.layout.cylinders):
        force = total.wrist_pin[:, index]
        columns |= {f"wrist_pin_{cylinder.name}_along_N": force.real, f"wrist_pin_{cylinder.name}_across_N": force.imag}
    for index, name in enumerate(name.replace(" + ", "+") for name in loads.throw_names):
        force = loads.on_throw(total.crankpin, index)
        turned = in_crank_frame(force, loads.throw_angle(index))
        columns |= _in_engine_axes(f"crankpin_{name}", force)
        columns |= {f"crankpin_{name}_outward_N": turned.real, f"crankpin_{name}_ahead_N": turned.imag}
    for index in range(len(loads.bearings.places)):
        columns |= _in_engine_axes(f"main_bearing_{index + 1}", loads.bearings.total[:, index])
    return columns


def _in_engine_axes(name: str, force: np.ndarray) -> dict[str, np.ndarray]:
    return {f"{name}_y_N": -force.imag, f"{name}_z_N": force.real}
