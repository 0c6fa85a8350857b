"""What the report's pictures are drawn from: bodies as boxes, mounts, modes and the mechanism, in numbers."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.engine.mechanism import SHAFT as SHAFT_PART
from vibsim.inputs.loader import CaseFile
from vibsim.show.animation import MOST_TURNS, crank_angles
from vibsim.show.layout_scene import EDGES, boxes_of, carried
from vibsim.show.mechanism_scene import Scene, firsts, make_scene, summed
from vibsim.show.mode_animation import LARGEST_MOVE
from vibsim.studies.balance import Balance
from vibsim.studies.modes import ModesResult
from vibsim.studies.report import Subject

SAMPLES = 90  # of forces per crank turn, between which straight lines are drawn
MOST_MODES = 12
DIGITS = 5


def drawing(subject: Subject) -> dict[str, Any] | None:
    """Everything the pictures of one case need, lengths in mm, angles in rad; None for a case not understood."""
    if subject.case_file is None:
        return None
    case = subject.case_file.case
    boxes = boxes_of(case)
    found: dict[str, Any] = {
        "bodies": [
            {"name": box.body, "corners": numbers(1e3 * box.corners), "centre": numbers(1e3 * box.centre)}
            for box in boxes
        ],
        "edges": EDGES,
        "mounts": [
            {"name": mount.name, "at": numbers(1e3 * np.array(mount.at)), "between": list(mount.between)}
            for mount in case.mount
        ],
        "sensors": [{"name": one.name, "at": numbers(1e3 * np.array(one.at))} for one in case.sensor],
        "modes": _modes(subject.modes, subject.case_file) if subject.modes else [],
        "mechanism": None,
    }
    if case.engine is not None:
        found["crank"] = {
            "origin": numbers(1e3 * np.array(case.engine.origin)),
            "direction": numbers(np.array(case.engine.crank_direction)),
        }
        if subject.balance is not None:
            found["mechanism"] = _mechanism(subject.case_file, subject.balance)
    return found


def numbers(values: np.ndarray) -> list:
    """Plain numbers of a few digits; complex ones as pairs."""
    values = np.asarray(values)
    if np.iscomplexobj(values):
        values = np.stack([values.real, values.imag], axis=-1)
    rounded = [float(f"{value:.{DIGITS}g}") + 0.0 for value in values.ravel()]
    return np.array(rounded).reshape(values.shape).tolist()


def _modes(result: ModesResult, case_file: CaseFile) -> list[dict[str, Any]]:
    """Shapes per body (6 complex: mm, rad), so large that the corner that moves most moves well in sight."""
    boxes = {box.body: box for box in boxes_of(case_file.case)}
    found = []
    for index, frequency in enumerate(result.modes.frequency[:MOST_MODES]):
        moved = zip(result.bodies, result.modes.shape[index], strict=True)
        shape = {name: motion for name, motion in moved if name in boxes}  # wheels and occupants are not drawn
        swing = max((_swing(boxes[name], motion) for name, motion in shape.items()), default=0.0)
        scale = LARGEST_MOVE / max(swing, 1e-12)
        body, direction, share = result.dominant(index)
        found.append(
            {
                "frequency": float(f"{frequency:.5g}"),
                "damping": float(f"{100.0 * result.modes.damping[index]:.3g}"),
                "words": f"{100.0 * share:.0f} % {body} {direction}",
                "shape": {
                    name: numbers(scale * motion * np.array([1e3] * 3 + [1.0] * 3)) for name, motion in shape.items()
                },
            }
        )
    return found


def _swing(box, motion: np.ndarray) -> float:
    """The greatest move of a corner as a share of the box's longest diagonal."""
    diagonal = float(np.linalg.norm(box.corners - box.corners[0], axis=1).max())
    phases = (np.real(motion * turn) for turn in (1.0, 1j))
    moves = [np.linalg.norm(carried(box.corners, box.centre, part) - box.corners, axis=1) for part in phases]
    return float(np.max(moves)) / diagonal


def _mechanism(case_file: CaseFile, balance: Balance) -> dict[str, Any]:
    """The crank train, with the forces of its parts at the balance's speed; they grow with its square (mm, N, N m).

    Complex as in `engine/mechanism`: real along the reference direction, imaginary a quarter turn ahead.
    """
    engine = case_file.case.engine
    assert engine is not None
    turns = min(balance.about_crank.turns, MOST_TURNS)
    scene = make_scene(engine, balance, crank_angles(0.0, turns, SAMPLES * turns))
    found, layout = scene.mechanism, balance.layout
    return {
        "speed": balance.about_crank.speed,
        "turns": turns,
        "samples": SAMPLES * turns,
        "radius": 1e3 * scene.radius,
        "middle": 1e3 * balance.middle,
        "cylinders": [_cylinder(scene, group) for group in scene.together],
        "throws": [
            {"at": 1e3 * layout.cylinders[throw[0]].at, "pin": layout.cylinders[throw[0]].pin}
            for throw in sorted(layout.throws, key=lambda throw: layout.cylinders[throw[0]].at)
        ],
        "force": numbers(summed(found.force, scene.together).T),
        "eccentrics": [*_eccentrics(scene, scene.weights), *_eccentrics(scene, scene.shafts)],
        "total": numbers(found.total),
        "couple": numbers(scene.couple) if scene.per_newton_metre > 0.0 else None,
    }


def _cylinder(scene: Scene, group: tuple[int, ...]) -> dict[str, Any]:
    """Cylinders that are one seen along the crank: the first's lengths, all their names and places along it."""
    layout = scene.balance.layout
    first = layout.cylinders[group[0]]
    return {
        "names": [layout.cylinders[index].name for index in group],
        "at": [1e3 * layout.cylinders[index].at for index in group],
        "bank": first.bank,
        "pin": first.pin,
        "offset": 1e3 * first.offset,
        "radius": 1e3 * first.radius,
        "rod": 1e3 * first.rod_length,
        "bore": 1e3 * first.bore,
        "top": 1e3 * first.top,
    }


def _eccentrics(scene: Scene, groups: list[tuple[int, ...]]) -> list[dict[str, Any]]:
    """Weights and shafts: where their axis is, where the heavy side is at crank angle 0, how fast it turns."""
    found = scene.mechanism
    rows = []
    for index, force in zip(firsts(groups), summed(found.eccentric_force, groups).T, strict=True):
        heading = found.heading[:, index]
        step = math.tau * min(scene.turns, MOST_TURNS) / len(found.angle)
        rows.append(
            {
                "kind": "shaft" if found.eccentric_kind[index] == SHAFT_PART else "weight",
                "axis": numbers(1e3 * found.eccentric_axis[index]),
                "phase": float(np.angle(heading[0])),
                "ratio": round(float(np.angle(heading[1] / heading[0])) / step, 6),
                "force": float(abs(force[0])),
            }
        )
    return rows
