"""First and second moments of everything that moves with the crank, in engine axes about the crank origin.

A rod is two equivalent masses at its ends plus a correction inertia on its direction, which is exact for a slender
rod: its kinetic energy depends on mass, first and second moment along its line alone (derived). An eccentric
(counterweight, balance shaft) is the limit of a mass close to its axis with an equal negative mass on it: it adds its
unbalance and the products of inertia that go with its place, no mass and no polar inertia.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.engine.kinematics import slider_crank
from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.inputs.charging_models import DrivenCharging
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Engine
from vibsim.jit import inlined

# one record per cylinder: geometry in m, phases as cosines, masses in kg, `correction` in kg·m², piston area in m²
CYLINDER = np.dtype(
    [
        (name, float)
        for name in (
            "cos_phase",
            "sin_phase",
            "cos_bank",
            "sin_bank",
            "at",
            "radius",
            "rod_length",
            "offset",
            "big_end",
            "slider",
            "correction",
            "area",
        )
    ]
)
# one record per eccentric: turns per crank turn, phase, place (x, y, z) on its shaft's axis in m, unbalance in kg·m
ECCENTRIC = np.dtype([(name, float) for name in ("ratio", "cos_phase", "sin_phase", "x", "y", "z", "unbalance")])


class Train(NamedTuple):
    """The crank train: records of cylinders and eccentrics, and the constants of its mass (kg, kg·m, kg·m²)."""

    cylinders: np.ndarray
    eccentrics: np.ndarray
    mass: float
    moment_x: float
    moment_xx: float
    rotor_inertia: float  # crank, geared shafts and accessories as felt at the crank: Σ I·ratio²
    rotor_momentum: float  # angular momentum along x per unit crank speed: Σ I·ratio
    axial_inertia: float  # what turns with the block about x: Σ I


class MovingMass(NamedTuple):
    """Sums over the moving parts at one crank angle; a trailing 1 or 2 marks derivatives by crank angle.

    `y, z` first moments; `xy, xz` the same weighted with the place along the crank; `yy, zz, yz` second moments;
    `spin` = Σ m (y z' − z y') ; `polar` = Σ m |r'|².
    """

    y: float
    z: float
    y1: float
    z1: float
    y2: float
    z2: float
    xy: float
    xz: float
    xy1: float
    xz1: float
    xy2: float
    xz2: float
    yy: float
    zz: float
    yz: float
    yy1: float
    zz1: float
    yz1: float
    spin: float
    spin1: float
    polar: float
    polar1: float


@inlined
def moving_mass(theta, train):
    """Sums over cylinders and eccentrics at crank angle `theta` (rad); see MovingMass."""
    cos_theta, sin_theta = math.cos(theta), math.sin(theta)
    y = z = y1 = z1 = y2 = z2 = 0.0
    xy = xz = xy1 = xz1 = xy2 = xz2 = 0.0
    yy = zz = yz = yy1 = zz1 = yz1 = 0.0
    spin = spin1 = 0.0
    polar, polar1 = train.rotor_inertia, 0.0
    for i in range(train.cylinders.size):
        cyl = train.cylinders[i]
        r, offset = cyl.radius, cyl.offset
        cos_psi = cos_theta * cyl.cos_phase - sin_theta * cyl.sin_phase
        sin_psi = sin_theta * cyl.cos_phase + cos_theta * cyl.sin_phase
        s, s1, s2, k, k1, k2, g, g1, g2 = slider_crank(cos_psi, sin_psi, r, cyl.rod_length, offset)
        mb, ms, jc = cyl.big_end, cyl.slider, cyl.correction
        a, c = r * cos_psi, r * sin_psi
        fa, fa1, fa2 = mb * a + ms * s, -mb * c + ms * s1, -mb * a + ms * s2
        fc, fc1, fc2 = mb * c + ms * offset, mb * a, -mb * c
        aa = mb * a * a + ms * s * s + jc * k * k
        aa1 = 2.0 * (-mb * a * c + ms * s * s1 + jc * k * k1)
        ac = mb * a * c + ms * s * offset + jc * k * g
        ac1 = mb * (a * a - c * c) + ms * s1 * offset + jc * (k1 * g + k * g1)
        cc = mb * c * c + ms * offset * offset + jc * g * g
        cc1 = 2.0 * (mb * a * c + jc * g * g1)
        spin += mb * r * r - ms * offset * s1 + jc * (k * g1 - g * k1)
        spin1 += -ms * offset * s2 + jc * (k * g2 - g * k2)
        polar += mb * r * r + ms * s1 * s1 + jc * (k1 * k1 + g1 * g1)
        polar1 += 2.0 * (ms * s1 * s2 + jc * (k1 * k2 + g1 * g2))
        # from the cylinder's plane (a, c) to the engine's y, z
        cb, sb, x = cyl.cos_bank, cyl.sin_bank, cyl.at
        fy, fz = -fa * sb - fc * cb, fa * cb - fc * sb
        fy1, fz1 = -fa1 * sb - fc1 * cb, fa1 * cb - fc1 * sb
        fy2, fz2 = -fa2 * sb - fc2 * cb, fa2 * cb - fc2 * sb
        y, z, y1, z1, y2, z2 = y + fy, z + fz, y1 + fy1, z1 + fz1, y2 + fy2, z2 + fz2
        xy, xz, xy1 = xy + x * fy, xz + x * fz, xy1 + x * fy1
        xz1, xy2, xz2 = xz1 + x * fz1, xy2 + x * fy2, xz2 + x * fz2
        ss, cs, c2 = sb * sb, sb * cb, cb * cb
        yy, yy1 = yy + aa * ss + 2.0 * ac * cs + cc * c2, yy1 + aa1 * ss + 2.0 * ac1 * cs + cc1 * c2
        zz, zz1 = zz + aa * c2 - 2.0 * ac * cs + cc * ss, zz1 + aa1 * c2 - 2.0 * ac1 * cs + cc1 * ss
        yz, yz1 = yz + (cc - aa) * cs + ac * (ss - c2), yz1 + (cc1 - aa1) * cs + ac1 * (ss - c2)
    for i in range(train.eccentrics.size):
        ecc = train.eccentrics[i]
        n = ecc.ratio
        if n == 1.0:
            cn, sn = cos_theta, sin_theta
        else:
            cn, sn = math.cos(n * theta), math.sin(n * theta)
        u, x, ey, ez = ecc.unbalance, ecc.x, ecc.y, ecc.z
        uz = u * (cn * ecc.cos_phase - sn * ecc.sin_phase)
        uy = -u * (sn * ecc.cos_phase + cn * ecc.sin_phase)
        uy1, uz1, uy2, uz2 = -n * uz, n * uy, -n * n * uy, -n * n * uz
        y, z, y1, z1, y2, z2 = y + uy, z + uz, y1 + uy1, z1 + uz1, y2 + uy2, z2 + uz2
        xy, xz, xy1 = xy + x * uy, xz + x * uz, xy1 + x * uy1
        xz1, xy2, xz2 = xz1 + x * uz1, xy2 + x * uy2, xz2 + x * uz2
        yy, zz, yz = yy + 2.0 * ey * uy, zz + 2.0 * ez * uz, yz + ey * uz + ez * uy
        yy1, zz1, yz1 = yy1 + 2.0 * ey * uy1, zz1 + 2.0 * ez * uz1, yz1 + ey * uz1 + ez * uy1
        spin, spin1 = spin + ey * uz1 - ez * uy1, spin1 + ey * uz2 - ez * uy2
    spin += train.rotor_momentum
    return MovingMass(
        y, z, y1, z1, y2, z2, xy, xz, xy1, xz1, xy2, xz2, yy, zz, yz, yy1, zz1, yz1, spin, spin1, polar, polar1
    )  # fmt: skip


def pack_train(engine: Engine, layout: Layout) -> Train:
    """Arrays for the jitted code from the engine and its resolved layout."""
    cylinders = layout.cylinders
    masses = [(c.at, c.big_end_mass) for c in cylinders] + [(c.at, c.small_end_mass + c.piston_mass) for c in cylinders]
    shafts = [(shaft.inertia, shaft.ratio) for shaft in (*engine.balance_shaft, *engine.accessory)]
    if isinstance(engine.charging, DrivenCharging):
        shafts.append((engine.charging.drive.inertia, engine.charging.drive.ratio))
    return Train(
        cylinders=np.array([_record(cylinder) for cylinder in cylinders], dtype=CYLINDER),
        eccentrics=_eccentrics(engine, layout),
        mass=math.fsum(mass for _, mass in masses),
        moment_x=sum(mass * at for at, mass in masses),
        moment_xx=sum(mass * at * at for at, mass in masses),
        rotor_inertia=engine.crank.inertia + sum(inertia * ratio**2 for inertia, ratio in shafts),
        rotor_momentum=engine.crank.inertia + sum(inertia * ratio for inertia, ratio in shafts),
        axial_inertia=engine.crank.inertia + sum(inertia for inertia, _ in shafts),
    )


def _record(c: ResolvedCylinder) -> tuple[float, ...]:
    """In the order of CYLINDER."""
    phase = c.pin - c.bank
    turned = math.cos(phase), math.sin(phase), math.cos(c.bank), math.sin(c.bank)
    masses = c.big_end_mass, c.small_end_mass + c.piston_mass, c.rod_correction
    return (*turned, c.at, c.radius, c.rod_length, c.offset, *masses, c.area)


def throw_unbalances(engine: Engine, layout: Layout) -> list[tuple[float, float, float]]:
    """Angle (rad), place (m) and unbalance (kg·m) of each throw's own counterweight, opposite its pin.

    Raises InputError when the list has not one number per throw.
    """
    given = engine.crank.unbalance
    if given is None:
        return []
    throws = layout.throws
    values = given if isinstance(given, tuple) else (given,) * len(throws)
    if len(values) != len(throws):
        found = "; ".join(" and ".join(layout.cylinders[index].name for index in throw) for throw in throws)
        raise InputError(
            f"engine.crank.unbalance: got {len(values)} numbers; must have one for each of the {len(throws)} throws "
            f"(cylinders {found})"
        )
    rows = []
    for throw, unbalance in zip(throws, values, strict=True):
        at = sum(layout.cylinders[index].at for index in throw) / len(throw)
        rows.append((layout.cylinders[throw[0]].pin + math.pi, at, unbalance))
    return rows


def crank_weights(engine: Engine, layout: Layout) -> list[tuple[float, float, float]]:
    """Angle (rad), place (m) and unbalance (kg·m) of all that turns with the crank: throws' own and counterweights."""
    added = [(weight.angle, weight.at, weight.unbalance) for weight in engine.crank.counterweight]
    return throw_unbalances(engine, layout) + added


def _eccentrics(engine: Engine, layout: Layout) -> np.ndarray:
    rows = [(1.0, angle, at, 0.0, 0.0, unbalance) for angle, at, unbalance in crank_weights(engine, layout)]
    rows += [(shaft.ratio, shaft.angle, shaft.at, *shaft.position, shaft.unbalance) for shaft in engine.balance_shaft]
    packed = [(ratio, math.cos(angle), math.sin(angle), x, y, z, u) for ratio, angle, x, y, z, u in rows]
    return np.array(packed, dtype=ECCENTRIC)
