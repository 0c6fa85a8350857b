"""Rotors of a case and the shafts between them: crank, its throws and nose where it twists, and what it drives.

The first part is the crank itself, with a torsion table its flywheel end; its angle is the crank angle. Throws come
next, in order along the crank, then the nose and the rotors of the case file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.moving_mass import ECCENTRIC, Train, moving_mass, throw_unbalances
from vibsim.engine.shaft_law import SpringLaw, spring_law
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Case, Engine
from vibsim.inputs.rotor_models import CRANK, FLYWHEEL, NOSE, CrankTorsion
from vibsim.jit import kernel

AVERAGE_POINTS = 96
NO_ECCENTRICS = np.zeros(0, dtype=ECCENTRIC)


@dataclass(frozen=True, eq=False)
class Part:
    """A rotor: inertia kg m² about its axis, turns per crank turn, the body that carries it. `train` its own sliders
    and eccentrics, with its inertia; None of plain rotors. `cylinders` that it drives, by index."""

    name: str
    inertia: float
    ratio: float
    body: str
    train: Train | None = None
    cylinders: tuple[int, ...] = ()
    axis: tuple[float, float, float] | None = None  # direction, vehicle axes; None that of the crank

    @property
    def felt(self) -> float:
        """Inertia (kg m²) about its axis with its sliders and rods, the mean over a turn."""
        if self.train is None:
            return self.inertia
        return _mean_polar(np.linspace(0.0, 2.0 * math.pi, AVERAGE_POINTS, endpoint=False), self.train)


@kernel
def _mean_polar(angles, train):
    total = 0.0
    for n in range(angles.size):
        total += moving_mass(angles[n], train).polar
    return total / angles.size


@dataclass(frozen=True)
class Link:
    """A shaft between two parts (indices), turning with the first; `ratio` turns of the first per turn of the second.
    `loss_factor` of its stiffness, damping N m s/rad, friction N m; `loss_rate` (rad/s) is the frequency at which a
    run's damper loses as much as the loss factor, 0 before it is known."""

    name: str
    first: int
    second: int
    ratio: float
    law: SpringLaw
    damping: float = 0.0
    loss_factor: float = 0.0
    friction: float = 0.0
    loss_rate: float = 0.0

    @property
    def run_damping(self) -> float:
        """N m s/rad of all damping as a viscous damper."""
        lossy = self.loss_factor * self.law.stiffness(0.0) / self.loss_rate if self.loss_rate else 0.0
        return self.damping + lossy


@dataclass(frozen=True, eq=False)
class Drivetrain:
    """Parts and links; `load` the part (index) that the load acts on; `throws` how many parts are throws."""

    parts: tuple[Part, ...]
    links: tuple[Link, ...]
    load: int
    throws: int

    @property
    def names(self) -> list[str]:
        return [part.name for part in self.parts]

    @property
    def shaft_names(self) -> list[str]:
        return [link.name for link in self.links]

    @property
    def ratios(self) -> np.ndarray:
        return np.array([part.ratio for part in self.parts])

    @property
    def inertias(self) -> np.ndarray:
        """Felt inertias (parts) kg m²."""
        return np.array([part.felt for part in self.parts])

    @property
    def nose(self) -> int:
        """Part (index) at the crank's free end."""
        if NOSE in self.names:
            return self.names.index(NOSE)
        first = [link.first for link in self.links[: self.throws]]
        return first[0] if self.throws else 0

    @property
    def chain(self) -> list[int]:
        """Parts in the order torque passes them: what hangs at the nose, the crank from there on, what it drives."""
        order: list[int] = []
        for link in self.links:
            order += [part for part in (link.first, link.second) if part not in order]
        ends = [(link.first, link.second) for link in self.links[self.crank_links :]]
        hung = [end for pair in ends for end in pair if self.nose in pair and end != self.nose] if self.nose else []
        return [*hung, *(part for part in order if part not in hung)] or [0]

    @property
    def crank_links(self) -> int:
        """How many links, the first ones, are the crank's own."""
        return self.throws + (NOSE in self.names)

    @property
    def driven_inertia(self) -> float:
        """kg m² of all that the crank drives beyond itself, as felt at the crank when nothing twists."""
        return float(sum(part.inertia * part.ratio**2 for part in self.parts[1 + self.throws :] if part.name != NOSE))

    @property
    def incidence(self) -> np.ndarray:
        """Twists from angles (links, parts): first less ratio times second."""
        rows = np.zeros((len(self.links), len(self.parts)))
        for n, link in enumerate(self.links):
            rows[n, link.first] += 1.0
            rows[n, link.second] -= link.ratio
        return rows

    def mean_torques(self, torque: float) -> np.ndarray:
        """Torque (links) N m in every shaft while the load takes a torque (N m, felt at the crank), the throws all
        driving alike."""
        push = np.zeros(len(self.parts))
        drivers = range(1, 1 + self.throws) if self.throws else (0,)
        for part in drivers:
            push[part] += torque / len(drivers)
        push[self.load] -= torque / self.parts[self.load].ratio
        return np.linalg.lstsq(self.incidence.T, push, rcond=None)[0]

    def mean_twists(self, torque: float) -> np.ndarray:
        """Twist (links) rad under `mean_torques`."""
        torques = self.mean_torques(torque)
        return np.array([link.law.twist(float(held)) for link, held in zip(self.links, torques, strict=True)])

    def stiffnesses(self, torque: float = 0.0) -> np.ndarray:
        """Tangent stiffness (links) N m/rad while the load takes a torque (N m, felt at the crank)."""
        twists = self.mean_twists(torque)
        return np.array([link.law.stiffness(float(at)) for link, at in zip(self.links, twists, strict=True)])


def is_twisting(case: Case) -> bool:
    """Whether the case has more rotors than a rigid crank."""
    return case.engine is not None and bool(case.rotor or case.engine.crank.torsion)


def drivetrain(case: Case, layout: Layout, train: Train) -> Drivetrain | None:
    """Rotors and shafts of a case whose whole crank train is `train`; None where there is a rigid crank alone.

    Raises InputError for lists that do not match the throws, or a crank whose parts outweigh it.
    """
    return whole_drivetrain(case, layout, train) if is_twisting(case) else None


def whole_drivetrain(case: Case, layout: Layout, train: Train) -> Drivetrain:
    """What `drivetrain` gives; of a rigid crank alone the one rotor that it is."""
    engine = case.engine
    assert engine is not None
    torsion = engine.crank.torsion
    parts = [Part(CRANK, train.rotor_inertia, 1.0, engine.body, train, tuple(range(len(layout.cylinders))))]
    inner: list[Link] = []
    if torsion is not None:
        parts, inner = _twisting_crank(engine, torsion, layout, train)
    throws = len(layout.throws) if torsion is not None else 0
    names = {FLYWHEEL: 0, CRANK: 0, NOSE: 0}
    if torsion is not None:
        names[NOSE] = inner[0].first
    for rotor in case.rotor:
        names[rotor.name] = len(parts)
        inertia = rotor.inertia + rotor.vehicle_mass * (rotor.rolling_radius or 0.0) ** 2
        axis = rotor.axis_direction
        parts.append(Part(rotor.name, inertia, rotor.ratio, rotor.body or engine.body, axis=axis))
    links = list(inner)
    for shaft in case.shaft:
        first, second = (names[name] for name in shaft.between)
        ratio = parts[first].ratio / parts[second].ratio
        law = spring_law(shaft)
        rate = 2.0 * math.pi * (shaft.loss_frequency or 0.0)
        links.append(
            Link(shaft.label, first, second, ratio, law, shaft.damping, shaft.loss_factor, shaft.friction, rate)
        )
    load = names[engine.load.rotor] if engine.load.rotor is not None else 0
    return with_loss_rates(Drivetrain(tuple(parts), tuple(links), load, throws))


def with_loss_rates(found: Drivetrain) -> Drivetrain:
    """Every link with a loss factor and no frequency of it given that (rad/s) of the mode that strains it most."""
    from scipy.linalg import eigh

    if not any(link.loss_factor and not link.loss_rate for link in found.links):
        return found
    stiffness, rows = found.stiffnesses(), found.incidence
    squares, shapes = eigh(rows.T @ (stiffness[:, None] * rows), np.diag(found.inertias))
    rate = np.sqrt(np.maximum(squares, 0.0))
    strain = stiffness[:, None] * (rows @ shapes) ** 2 / np.maximum(squares, 1e-9 * squares[-1])
    strain[:, squares < 1e-9 * squares[-1]] = 0.0
    links = tuple(
        replace(link, loss_rate=link.loss_rate or float(rate[strain[n].argmax()])) if link.loss_factor else link
        for n, link in enumerate(found.links)
    )
    return replace(found, links=links)


def _twisting_crank(
    engine: Engine, torsion: CrankTorsion, layout: Layout, train: Train
) -> tuple[list[Part], list[Link]]:
    count = len(layout.throws)
    given = torsion.throw_inertia
    inertias = given if isinstance(given, tuple) else (given,) * count
    if len(inertias) != count:
        raise InputError(
            f"engine.crank.torsion.throw_inertia: got {len(inertias)} numbers; must have one for each of the {count} "
            "throws, or be one number"
        )
    nose = torsion.nose_inertia
    needed = count + (nose is not None)
    if len(torsion.stiffness) != needed:
        ends = "from the nose to the flywheel" if nose is not None else "from the first throw to the flywheel"
        raise InputError(
            f"engine.crank.torsion.stiffness: got {len(torsion.stiffness)} numbers; must have {needed} {ends}"
        )
    rest = engine.crank.inertia - sum(inertias) - (nose or 0.0)
    if rest <= 0.0:
        raise InputError(
            f"engine.crank.inertia: got {engine.crank.inertia:g} kg m^2; throws and nose alone make "
            f"{engine.crank.inertia - rest:g} kg m^2, which leaves no flywheel"
        )
    parts = [_flywheel_end(engine, layout, train, rest)]
    parts += [_throw(engine, layout, train, n, inertias[n]) for n in range(count)]
    chain = [*range(1, count + 1), 0]
    if torsion.flywheel_end == "first":
        chain = [*range(count, 0, -1), 0]
    if nose is not None:
        parts.append(Part(NOSE, nose, 1.0, engine.body))
        chain = [len(parts) - 1, *chain]
    damping = torsion.damping if isinstance(torsion.damping, tuple) else (torsion.damping,) * needed
    links = [
        Link(f"{parts[a].name} to {parts[b].name}", a, b, 1.0, SpringLaw(torsion.stiffness[n], 0.0, 0.0), damping[n])
        for n, (a, b) in enumerate(pairwise(chain))
    ]
    return parts, links


def _flywheel_end(engine: Engine, layout: Layout, train: Train, inertia: float) -> Part:
    """What is left of the crank, with all that it gears: balance shafts and accessories turn with it."""
    away = engine.crank.inertia - inertia
    with_throws = len(throw_unbalances(engine, layout)) + len(engine.crank.counterweight)
    own = train._replace(
        cylinders=train.cylinders[:0],
        eccentrics=train.eccentrics[with_throws:],
        mass=0.0,
        moment_x=0.0,
        moment_xx=0.0,
        rotor_inertia=train.rotor_inertia - away,
        rotor_momentum=train.rotor_momentum - away,
        axial_inertia=train.axial_inertia - away,
    )
    return Part(FLYWHEEL, own.rotor_inertia, 1.0, engine.body, own)


def _throw(engine: Engine, layout: Layout, train: Train, index: int, inertia: float) -> Part:
    """A throw with its cylinders, its own unbalance and the counterweights nearest to it."""
    cylinders = layout.throws[index]
    places = [float(np.mean([layout.cylinders[n].at for n in throw])) for throw in layout.throws]
    own = len(throw_unbalances(engine, layout))
    rows = [index] if own else []
    for n, weight in enumerate(engine.crank.counterweight):
        if int(np.argmin([abs(weight.at - place) for place in places])) == index:
            rows.append(own + n)
    masses = [
        (layout.cylinders[n].at, layout.cylinders[n].rod_mass + layout.cylinders[n].piston_mass) for n in cylinders
    ]
    part = train._replace(
        cylinders=train.cylinders[list(cylinders)],
        eccentrics=train.eccentrics[rows] if rows else NO_ECCENTRICS,
        mass=sum(mass for _, mass in masses),
        moment_x=sum(mass * at for at, mass in masses),
        moment_xx=sum(mass * at * at for at, mass in masses),
        rotor_inertia=inertia,
        rotor_momentum=inertia,
        axial_inertia=inertia,
    )
    return Part(f"throw {index + 1}", inertia, 1.0, engine.body, part, cylinders)
