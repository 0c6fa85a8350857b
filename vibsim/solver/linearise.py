"""The mounted bodies made linear about static equilibrium: mass, damping and stiffness matrices."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibsim.solver.block import AVERAGE_POINTS, without_turning_eccentrics
from vibsim.solver.near_rest import mean_carrier_mass
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.rotor_pack import carried_inertia
from vibsim.solver.start import AtRest, Preload
from vibsim.solver.vertical_linear import with_parts
from vibsim.structure.rotation import matrix_of
from vibsim.structure.statics import Equilibrium

Crank = Literal["locked", "free"]
REVOLUTION = np.linspace(0.0, 2.0 * math.pi, AVERAGE_POINTS, endpoint=False)


@dataclass(frozen=True)
class Linear:
    """M·x'' + C·x' + K·x = f. Square matrices, 6 unknowns per body: its centre of mass along vehicle X, Y, Z (m) and
    small turns about them (rad), forces in N and moments about the centre of mass in N m; then the modal coordinates of
    elastic modes (√kg m), named in `elastic`; then one per mass of wheels and occupants: its height (m)."""

    names: list[str]
    mass: np.ndarray
    damping: np.ndarray
    stiffness: np.ndarray
    equilibrium: Equilibrium
    elastic: tuple[str, ...] = ()


def linearise(
    packed: Packed, torque: float = 0.0, crank: Crank = "locked", speed: float = 0.0, preload: Preload | None = None
) -> Linear:
    """Matrices about the static equilibrium under weight, output torque (N m), accessories at a speed (rad/s) and a
    preload besides.

    With the crank "locked" the engine moves as one rigid whole (the usual convention for mount modes); "free" lets the
    crank's inertia stay behind in roll, as it does in a running engine. The moving parts enter by their average over a
    revolution. Mounts with states of their own enter by their static tangent: relaxed at every displacement, no flow,
    friction spent, and damping by their viscous part alone. Raises RunFailure when there is no equilibrium.
    """
    rest = AtRest(packed, torque, speed, preload)
    found = rest.equilibrium()
    start = rest.state(found.displacement)
    model = packed.model
    steady = packed._replace(model=model._replace(train=without_turning_eccentrics(model.train)))
    mass = _mass_matrix(steady, start, crank, REVOLUTION)
    slope, drag = rest.slopes_at(start)
    if model.parts is not None:
        mass, slope, drag = with_parts(rest, start, model.parts, mass, slope, drag)
    return Linear(packed.names, mass, -drag, -slope, found, packed.flexible.names)


def _mass_matrix(packed: Packed, start: np.ndarray, crank: Crank, angles: np.ndarray) -> np.ndarray:
    """Mass matrix in vehicle axes, averaged over crank angles (rad)."""
    model = packed.model
    mass = np.eye(packed.moved)
    for b, body in enumerate(model.bodies):
        own = matrix_of(start[STATES_PER_BODY * b + 3 : STATES_PER_BODY * b + 7])
        block, turn = np.zeros((6, 6)), np.zeros((6, 6))
        turn[:3, :3] = turn[3:, 3:] = own
        if b == model.carrier:
            mean_carrier_mass(angles, model, crank == "free", block)
        elif model.parts is not None:
            block[:] = model.parts.mass[b]
        else:
            block[0, 0] = block[1, 1] = block[2, 2] = body["mass"]
            block[3:, 3:] = _symmetric([body[entry] for entry in ("xx", "yy", "zz", "xy", "xz", "yz")])
        if model.rotors is not None:  # with the crank free what it drives stays behind too
            block[3:, 3:] += carried_inertia(model.rotors, b, of_crank_alone=crank == "free")
        mass[6 * b : 6 * b + 6, 6 * b : 6 * b + 6] = turn @ block @ turn.T
    return mass


def _symmetric(entries) -> np.ndarray:
    xx, yy, zz, xy, xz, yz = entries
    return np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
