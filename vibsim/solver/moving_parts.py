"""What the moving parts at one crank angle bring to the equations of motion, as rows of numbers; torque of the gas."""

from __future__ import annotations

import math

from vibsim.engine.kinematics import slider_crank
from vibsim.engine.moving_mass import moving_mass
from vibsim.engine.packed_gas import pressure_at
from vibsim.jit import inner

# rows of the carrier's vectors, in its own axes
S_, A_, A1_, B_, B1_, C_, J_, J1_ = 0, 3, 6, 9, 12, 15, 17, 23
GAS_ = 29  # weights of the gas's nodes


@inner
def fill_moving(theta, train, o, e):
    """Write S, A = S', A', B, B', C, C', J, J' of a train at crank angle `theta` into e; `o` (3) the crank's origin
    from the reference point, m."""
    m = moving_mass(theta, train)
    ox, oy, oz = o[0], o[1], o[2]
    sx = train.moment_x
    e[S_] = train.mass * ox + sx
    e[S_ + 1] = train.mass * oy + m.y
    e[S_ + 2] = train.mass * oz + m.z
    e[A_], e[A_ + 1], e[A_ + 2] = 0.0, m.y1, m.z1
    e[A1_], e[A1_ + 1], e[A1_ + 2] = 0.0, m.y2, m.z2
    e[B_] = oy * m.z1 - oz * m.y1 + m.spin
    e[B_ + 1], e[B_ + 2] = -ox * m.z1 - m.xz1, ox * m.y1 + m.xy1
    e[B1_] = oy * m.z2 - oz * m.y2 + m.spin1
    e[B1_ + 1], e[B1_ + 2] = -ox * m.z2 - m.xz2, ox * m.y2 + m.xy2
    e[C_], e[C_ + 1] = m.polar, m.polar1
    qx = train.mass * ox * ox + 2.0 * ox * sx + train.moment_xx
    qy = train.mass * oy * oy + 2.0 * oy * m.y + m.yy
    qz = train.mass * oz * oz + 2.0 * oz * m.z + m.zz
    e[J_], e[J_ + 1], e[J_ + 2] = qy + qz, qx + qz, qx + qy
    e[J_ + 3] = -(train.mass * ox * oy + ox * m.y + oy * sx + m.xy)
    e[J_ + 4] = -(train.mass * ox * oz + ox * m.z + oz * sx + m.xz)
    e[J_ + 5] = -(train.mass * oy * oz + oy * m.z + oz * m.y + m.yz)
    qy1, qz1 = 2.0 * oy * m.y1 + m.yy1, 2.0 * oz * m.z1 + m.zz1
    e[J1_], e[J1_ + 1], e[J1_ + 2] = qy1 + qz1, qz1, qy1
    e[J1_ + 3] = -(ox * m.y1 + m.xy1)
    e[J1_ + 4] = -(ox * m.z1 + m.xz1)
    e[J1_ + 5] = -(oy * m.z1 + oz * m.y1 + m.yz1)


@inner
def add_block(model, e):
    """Add first moment and inertia of the block to those of what moves in it."""
    block = model.bodies[model.carrier]
    e[S_] += model.block_moment[0]
    e[S_ + 1] += model.block_moment[1]
    e[S_ + 2] += model.block_moment[2]
    e[J_] += block.xx
    e[J_ + 1] += block.yy
    e[J_ + 2] += block.zz
    e[J_ + 3] += block.xy
    e[J_ + 4] += block.xz
    e[J_ + 5] += block.yz


@inner
def gas_lever(cyl, theta):
    """What the gas's pressure over that under the piston (Pa) is multiplied with to give its torque (N m) on the throw
    at crank angle `theta` (rad), −dV/dφ in m³; `cyl` the cylinder's record."""
    cos_theta, sin_theta = math.cos(theta), math.sin(theta)
    cos_psi = cos_theta * cyl.cos_phase - sin_theta * cyl.sin_phase
    sin_psi = sin_theta * cyl.cos_phase + cos_theta * cyl.sin_phase
    return -cyl.area * slider_crank(cos_psi, sin_psi, cyl.radius, cyl.rod_length, cyl.offset)[1]


@inner
def gas_of_cylinder(i, cyl, theta, gas, e):
    """Torque (N m) of the gas in cylinder i, whose record is `cyl`, on its throw at crank angle `theta` (rad)."""
    return (pressure_at(i, theta, gas, e, GAS_) - gas.ambient) * gas_lever(cyl, theta)
