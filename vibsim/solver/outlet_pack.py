"""Chain or differential of a case packed for the jitted code, in the gear of the run or in another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vibsim.inputs.case_checks import GROUND
from vibsim.inputs.driveline_models import Chain, Differential
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Case
from vibsim.inputs.statics_models import Driveline, Gear
from vibsim.solver.outlet import CHAIN, DIFFERENTIAL, DRIVE
from vibsim.structure.attachments import RIGID

if TYPE_CHECKING:
    from vibsim.solver.packed import Packed


def gear_ratio(driveline: Driveline, gear: Gear) -> float:
    """Crank turns per turn at the gearbox's output, negative in reverse, 0 in neutral. Raises InputError."""
    count = len(driveline.gear_ratios)
    if isinstance(gear, int) and 1 <= gear <= count:
        return driveline.gear_ratios[gear - 1]
    if gear == "reverse" and driveline.reverse_ratio is not None:
        return -driveline.reverse_ratio
    if gear == "neutral":
        return 0.0
    more = ", reverse" if driveline.reverse_ratio is not None else ""
    raise InputError(f"--gear: got {gear}; allowed: neutral, 1 to {count}{more}")


def pack_outlet(
    case: Case,
    names: list[str],
    centres: list[np.ndarray],
    axes: list[np.ndarray],
    numbers: np.ndarray,
    sprocket: list[float],
    gear: Gear | None = None,
) -> tuple[np.ndarray | None, np.ndarray]:
    """Record (DRIVE) of a case's chain or differential, None without either, and the numbers with the attachment of
    the driven sprocket (`sprocket`, empty on a rigid body) after them; in another gear of [driveline] if given."""
    engine = case.engine
    drive = None if engine is None else engine.load.chain or engine.load.differential
    if engine is None or drive is None:
        return None, numbers
    record = np.zeros(1, DRIVE)
    row, carrier, body = record[0], names.index(engine.body), names.index(drive.body)
    _ratios(row, case, drive, gear)
    row["body"], row["elastic"] = body, RIGID
    if isinstance(drive, Chain):
        row["kind"], reactor = CHAIN, drive.wheel_torque_reacted_by
        _put(row, "way", axes[carrier].T @ _unit(drive.direction))
        _put(row, "first", axes[carrier].T @ (np.array(drive.sprocket) - centres[carrier]))
        _put(row, "second", axes[body].T @ (np.array(drive.driven_sprocket) - centres[body]))
        row["radius"], row["driven_radius"] = drive.sprocket_radius, drive.driven_sprocket_radius
        if sprocket:
            row["elastic"] = len(numbers)
            numbers = np.append(numbers, sprocket)
    else:
        row["kind"], reactor = DIFFERENTIAL, drive.axle_torque_reacted_by
        shaft = axes[carrier][:, 0] if drive.propshaft_direction is None else _unit(drive.propshaft_direction)
        _put(row, "way", axes[carrier].T @ shaft)
        _put(row, "axle", axes[body].T @ _unit(drive.axle_direction))
    row["reactor"] = -1 if reactor == GROUND else names.index(reactor)
    return record, numbers


def in_gear(packed: Packed, case: Case, gear: Gear) -> Packed:
    """The model with its chain or differential in another gear of [driveline]; unchanged without either."""
    if packed.model.outlet is None or case.engine is None:
        return packed
    record = packed.model.outlet.copy()
    drive = case.engine.load.chain or case.engine.load.differential
    assert drive is not None
    _ratios(record[0], case, drive, gear)
    return packed._replace(model=packed.model._replace(outlet=record))


def _ratios(row: np.void, case: Case, drive: Chain | Differential, gear: Gear | None) -> None:
    driveline, losses, final_losses, final = case.driveline, 1.0, 1.0, 1.0
    ratio = drive.ratio
    if driveline is not None:
        losses, final_losses = driveline.gearbox_efficiency, driveline.final_drive_efficiency
        final = driveline.final_drive_ratio
        chosen = gear if gear is not None else case.engine.load.gear if case.engine is not None else None
        if gear is not None or ratio is None:
            ratio = gear_ratio(driveline, chosen if chosen is not None else "neutral")
    if isinstance(drive, Differential) and drive.final_drive_ratio is not None:
        final = drive.final_drive_ratio
    assert ratio is not None
    row["gearbox"], row["gearbox_overrun"] = ratio * losses, ratio / losses
    row["axle"] = row["gearbox"] * final * final_losses
    row["axle_overrun"] = row["gearbox_overrun"] * final / final_losses


def _put(row: np.void, name: str, vector: np.ndarray) -> None:
    for axis, value in zip("xyz", vector, strict=True):
        row[f"{name}_{axis}"] = value


def _unit(vector: tuple[float, ...]) -> np.ndarray:
    given = np.array(vector, dtype=float)
    return given / np.linalg.norm(given)
