"""What sensors on flexible bodies feel beyond the rigid motion of these bodies."""

from __future__ import annotations

import numpy as np

from vibsim.inputs.models import Sensor
from vibsim.jit import kernel
from vibsim.solver.motion import ENGINE, WORK, W, derivatives
from vibsim.solver.packed import STATES_PER_BODY, Packed

ROWS = 9  # per flexible body and point in time: elastic displacement, its rate and its second rate


def feel_elastic(states: np.ndarray, packed: Packed, sensors: tuple[Sensor, ...], feel: np.ndarray) -> None:
    """Add to the accelerations `feel` (n, sensors, 3) m/s², vehicle axes, what elastic motion u (own axes) adds.

    That is ü + 2ω×u̇ + ω̇×u + ω×(ω×u); the turn rate ω is the body's.
    """
    if packed.model.flex is None:
        return
    bodies = len(packed.names)
    turn, spin = np.empty((len(states), bodies, 9)), np.empty((len(states), bodies, 3))
    spin_rate, rates = np.empty((len(states), bodies, 3)), np.empty((len(states), packed.flexible.count))
    _motion_of_bodies(states, packed.model, turn, spin, spin_rate, rates)
    modes = packed.model.flex.modes
    q, v = states[:, modes["at"]], states[:, modes["rate"]]
    for n, sensor in enumerate(sensors):
        body = packed.names.index(sensor.body)
        shape = packed.flexible.shape(body, sensor.name)
        u, du, ddu = q @ shape.T, v @ shape.T, rates @ shape.T
        w, dw = spin[:, body], spin_rate[:, body]
        more = ddu + 2.0 * np.cross(w, du) + np.cross(dw, u) + np.cross(w, np.cross(w, u))
        feel[:, n] += np.einsum("nij,nj->ni", turn[:, body].reshape(-1, 3, 3), more)


@kernel
def _motion_of_bodies(states, model, turn, spin, spin_rate, rates):
    """Matrices (n, bodies, 9), turn rates and their rates (n, bodies, 3) in own axes, second rates of the modes."""
    bodies = model.bodies.size
    w, e, out = np.zeros((bodies, WORK)), np.zeros(ENGINE), np.zeros(states.shape[1])
    for n in range(states.shape[0]):
        derivatives(states[n], model, w, e, out)
        for b in range(bodies):
            body, at = model.bodies[b], STATES_PER_BODY * b
            lx, ly, lz = out[at + 10], out[at + 11], out[at + 12]
            for k in range(9):
                turn[n, b, k] = w[b, k]
            for k in range(3):
                spin[n, b, k] = w[b, W + k]
            # right for all but the engine's body, which is rigid
            spin_rate[n, b, 0] = body.inverse_xx * lx + body.inverse_xy * ly + body.inverse_xz * lz
            spin_rate[n, b, 1] = body.inverse_xy * lx + body.inverse_yy * ly + body.inverse_yz * lz
            spin_rate[n, b, 2] = body.inverse_xz * lx + body.inverse_yz * ly + body.inverse_zz * lz
        for m in range(rates.shape[1]):
            rates[n, m] = out[model.flex.modes[m].rate]
