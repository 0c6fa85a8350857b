"""A damper at the crank's nose: sized by the optimum absorber, then by search over what the engine's orders do.

Starts, with ω₁ the crank's first elastic mode without the damper, J₁ its inertia reduced to the nose and μ = J/J₁
(Den Hartog 1956, sec. 3.3): tuned, k = J·(ω₁/(1 + μ))², c = 2·J·ω₁·√(3μ/(8(1 + μ)³)); rubber, the same k with loss
factor 2·√(3μ/(8(1 + μ))), as much as the rubber can give; viscous without a spring, c = 2·J·ω₁/√(2(1 + μ)(2 + μ)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.optimize import minimize

from vibsim.engine.torsion import dynamic_stiffness, torsion_modes
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.rotor_models import CRANK_PARTS, NOSE
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.torsion import Torsion, torsion_of, without_rotor

Form = Literal["tuned", "rubber", "viscous"]
FORMS: tuple[Form, ...] = ("tuned", "rubber", "viscous")
LOSS_LIMIT = 0.25  # of damper rubber; common practice, no source
NEAR = 0.6  # of the mode's frequency, from which on an order counts: a damper's lower peak lies above that
WIDEST = math.log(8.0)  # how far the search goes from the start, either way


@dataclass(frozen=True)
class Damper:
    """A ring of inertia kg m² on spring k N m/rad, with damper c N m s/rad or loss factor."""

    form: Form
    inertia: float
    stiffness: float = 0.0
    damping: float = 0.0
    loss_factor: float = 0.0

    def coupling(self, rates: np.ndarray) -> np.ndarray:
        """Complex stiffness N m/rad of its joint at circular frequencies rad/s."""
        return self.stiffness * (1.0 + 1j * self.loss_factor) + 1j * rates * self.damping


@dataclass(frozen=True, eq=False)
class Sized:
    """A damper as started and as found. `worst` rad: the greatest amplitude of nose against flywheel by one order over
    the speeds, before (no damper), at the start and found; `curve` (3, speeds) rad the same over speed. `power` W the
    most that the damper found loses at a speed."""

    mass_ratio: float
    start: Damper
    found: Damper
    worst: tuple[float, float, float]
    curve: np.ndarray
    power: float


@dataclass(frozen=True, eq=False)
class DamperSizing:
    """`bare` is the crank without the damper, whose mode (index) at `frequency` Hz it is for; `reduced` kg m² that
    mode's inertia at the nose. `replaced` the rotor that gave the inertia, if any; `least_order` the lowest that
    counts: lower ones stay far below the mode, and twist the crank as much with any damper. Best first."""

    bare: Torsion
    mode: int
    frequency: float
    reduced: float
    replaced: str | None
    least_order: float
    sized: tuple[Sized, ...]


def den_hartog(form: Form, inertia: float, reduced: float, rate: float, loss_limit: float = LOSS_LIMIT) -> Damper:
    """The optimum absorber's damper of a form for a ring (kg m²) at a mode of reduced inertia (kg m²), rad/s."""
    mu = inertia / reduced
    if form == "viscous":
        return Damper(form, inertia, damping=2.0 * inertia * rate / math.sqrt(2.0 * (1.0 + mu) * (2.0 + mu)))
    stiffness = inertia * (rate / (1.0 + mu)) ** 2
    if form == "rubber":
        ideal = 2.0 * math.sqrt(3.0 * mu / (8.0 * (1.0 + mu)))
        return Damper(form, inertia, stiffness, loss_factor=min(ideal, loss_limit))
    share = math.sqrt(3.0 * mu / (8.0 * (1.0 + mu) ** 3))
    return Damper(form, inertia, stiffness, damping=2.0 * inertia * rate * share)


class _Bare:
    """The crank without its damper, as the nose feels it over speed and order."""

    def __init__(self, result: Torsion, least: float):
        answer, push, found = result.answer, result.push, result.found
        assert answer is not None and push is not None
        self.rates = answer.speeds[:, None] * answer.orders
        nose = found.nose
        self.counts = answer.orders >= least - 1e-9
        self.at_nose = answer.angle[:, :, nose]
        self.twist = answer.angle[:, :, nose] - answer.angle[:, :, 0]
        unit = np.zeros(len(found.parts))
        unit[nose] = 1.0
        self.own, self.across = np.empty_like(self.at_nose), np.empty_like(self.at_nose)
        for n, speed in enumerate(answer.speeds):
            matrix = dynamic_stiffness(found, self.rates[n], push.at(float(speed))[1])
            felt = np.linalg.solve(matrix, np.broadcast_to(unit, (len(answer.orders), len(unit)))[..., None])[..., 0]
            self.own[n], self.across[n] = felt[:, nose], felt[:, nose] - felt[:, 0]

    def with_damper(self, damper: Damper) -> tuple[np.ndarray, np.ndarray]:
        """Amplitude of nose against flywheel (speeds, orders) rad, and power lost in the damper (speeds) W.

        The ring answers a nose at x with the torque g·x, g = ω²·J·k/(k − ω²·J) (derived), so the nose stands at
        x₀/(1 − H·g).
        """
        joint, square = damper.coupling(self.rates), self.rates**2 * damper.inertia
        pull = square * joint / (joint - square)
        nose = self.at_nose / (1.0 - self.own * pull)
        slip = np.abs(nose * (1.0 - joint / (joint - square)))
        power = 0.5 * slip**2 * self.rates * joint.imag
        return np.abs(self.twist + self.across * pull * nose), power.sum(axis=1)


def size_damper(
    case_file: CaseFile,
    speeds: tuple[float, float] | None = None,
    inertias: list[float] | None = None,
    forms: tuple[Form, ...] = FORMS,
    loss_limit: float = LOSS_LIMIT,
    progress: Progress = no_progress,
) -> DamperSizing:
    """Dampers of every form and ring inertia (kg m²; default that of the rotor at the nose), the best first.

    A rotor that hangs at the nose alone is taken off. Raises InputError without a crank that twists, or inertia.
    """
    case = case_file.case
    if case.engine is None or case.engine.crank.torsion is None:
        raise InputError("--size-damper: needs [engine.crank.torsion]; a rigid crank has no torsion to damp")
    replaced = rotor_at_nose(case_file)
    if inertias is None:
        if replaced is None:
            raise InputError(
                "--inertia-kg-m2: is missing; no rotor of the case hangs at the crank's nose to take it from"
            )
        inertias = [next(rotor.inertia for rotor in case.rotor if rotor.name == replaced)]
    bare_case = case_file if replaced is None else without_rotor(case_file, replaced)
    bare = torsion_of(bare_case, speeds, progress)
    assert bare.push is not None
    modes, nose = torsion_modes(bare.found, bare.push.at(float(bare.push.nodes.mean()))[1]), bare.found.nose
    mode = _crank_mode(bare, modes.strain)
    inertia = bare.found.inertias
    reduced = float(inertia @ (modes.shape[mode] / modes.shape[mode, nose]) ** 2)
    frequency = float(modes.frequency[mode])
    least = _least_order(bare, frequency)
    felt = _Bare(bare, least)
    found = []
    for ring in inertias:
        for form in forms:
            start = den_hartog(form, ring, reduced, 2.0 * math.pi * frequency, loss_limit)
            found.append(_searched(start, ring / reduced, felt, loss_limit))
    found.sort(key=lambda sized: sized.worst[2])
    return DamperSizing(bare, mode, frequency, reduced, replaced, least, tuple(found))


def rotor_at_nose(case_file: CaseFile) -> str | None:
    """Name of the rotor that one shaft alone joins to the crank's nose."""
    shafts = case_file.case.shaft
    for shaft in shafts:
        if NOSE in shaft.between:
            name = next(end for end in shaft.between if end != NOSE)
            if name not in CRANK_PARTS and sum(name in other.between for other in shafts) == 1:
                return name
    return None


def _least_order(bare: Torsion, frequency: float) -> float:
    """The lowest order that comes near the mode within the speeds, or else the highest there is."""
    assert bare.answer is not None
    reach = bare.answer.orders * bare.answer.speeds[-1] / (2.0 * math.pi)
    near = bare.answer.orders[reach >= NEAR * frequency]
    return float(near[0] if len(near) else bare.answer.orders[-1])


def _crank_mode(bare: Torsion, strain: np.ndarray) -> int:
    """The first mode that has most of its strain in the crank's own shafts."""
    held = strain[:, : bare.found.crank_links].sum(axis=1)
    return int(np.argmax(held > 0.5)) if np.any(held > 0.5) else int(held.argmax())


def _searched(start: Damper, mass_ratio: float, felt: _Bare, loss_limit: float) -> Sized:
    def at(step: np.ndarray) -> Damper:
        grow = np.exp(np.clip(step, -WIDEST, WIDEST))
        loss = min(start.loss_factor * float(grow[1]), loss_limit)
        stiffness, damping = start.stiffness * float(grow[0]), start.damping * float(grow[1])
        return Damper(start.form, start.inertia, stiffness, damping, loss)

    def worst(step: np.ndarray) -> float:
        return 1e3 * float(felt.with_damper(at(step))[0][:, felt.counts].max()) + 1e-3 * float(
            np.abs(step).max() > WIDEST
        )

    best = minimize(worst, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6, "maxiter": 300})
    found = at(best.x)
    at_start, (at_end, power) = felt.with_damper(start)[0], felt.with_damper(found)
    courses = (np.abs(felt.twist), at_start, at_end)
    curves = np.array([course[:, felt.counts].max(axis=1) for course in courses])
    peaks = (float(curves[0].max()), float(curves[1].max()), float(curves[2].max()))
    return Sized(mass_ratio, start, found, peaks, curves, float(power.max()))


def keys_to_paste(damper: Damper, name: str = "damper") -> str:
    """Lines of a case file that hang the damper at the nose."""
    lines = ["[[rotor]]", f'name = "{name}"', f"inertia_kg_m2 = {damper.inertia:.4g}", "", "[[shaft]]"]
    lines += [f'between = ["{NOSE}", "{name}"]', f"stiffness_N_m_per_rad = {damper.stiffness:.5g}"]
    if damper.damping:
        lines.append(f"damping_N_m_s_per_rad = {damper.damping:.4g}")
    if damper.loss_factor:
        lines.append(f"loss_factor = {damper.loss_factor:.3g}")
    return "\n".join(lines)


def sizing_dict(sizing: DamperSizing) -> dict[str, Any]:
    """Plain numbers for machines."""
    return {
        "mode_Hz": sizing.frequency,
        "inertia_at_nose_kg_m2": sizing.reduced,
        "replaces": sizing.replaced,
        "least_order": sizing.least_order,
        "dampers": [
            {
                "kind": sized.found.form,
                "inertia_kg_m2": sized.found.inertia,
                "inertia_share": sized.mass_ratio,
                "worst_without_deg": math.degrees(sized.worst[0]),
                "by_formula": _damper_dict(sized.start, sized.worst[1]),
                "by_search": _damper_dict(sized.found, sized.worst[2]),
                "lost_power_W": sized.power,
                "keys": keys_to_paste(sized.found, sizing.replaced or "damper"),
            }
            for sized in sizing.sized
        ],
    }


def _damper_dict(damper: Damper, worst: float) -> dict[str, float]:
    return {
        "stiffness_N_m_per_rad": damper.stiffness,
        "damping_N_m_s_per_rad": damper.damping,
        "loss_factor": damper.loss_factor,
        "worst_deg": math.degrees(worst),
    }
