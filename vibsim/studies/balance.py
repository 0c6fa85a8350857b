"""What shakes, why, and what would cure it: free forces and couples of a layout, in words and numbers."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.balance import (
    Conditions,
    FreeForces,
    Phasors,
    cancellation_sums,
    free_forces,
    middle_of_throws,
    primary_force,
    split,
    throw_spacing,
)
from vibsim.engine.layout import Layout
from vibsim.engine.moving_mass import Train
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case, Run
from vibsim.post.orders import Orders, orders_of
from vibsim.solver.motion import gas_torques
from vibsim.solver.packed import Packed, pack
from vibsim.studies.balance_axes import vehicle_rows

SHOWN_ORDERS = 6.0
NEGLIGIBLE = 1e-3  # of one cylinder's primary force (or that times the throw spacing)
GAS_POINTS = 240  # a cycle


@dataclass(frozen=True)
class Weight:
    """An eccentric: unbalance (kg m), angle (rad, like a pin angle), place along the crank (m), turns per turn."""

    unbalance: float
    angle: float
    at: float
    ratio: float = 1.0


@dataclass(frozen=True)
class Balance:
    """Free forces and couples of an engine's crank train at a speed (rad/s).

    `about_crank` and `about_mass` give them over crank angle about the crank's origin and about the centre of mass of
    the engine's body; `force`, `couple` (about the mean place of the throws) per order; `roll_order` and `roll` (n)
    complex N m the roll on the block by inertia per order, value = Re(amplitude·e^{i·order·θ}), and `torque` (n) that
    of pistons and rods on the crank; `gas_order` and `gas` (n) the gas torque on the crank; `unit` one cylinder's
    primary force (N), `arm` the throw spacing (m, 0 for one throw), `middle` the mean place of the throws (m); `axes`
    (3, 3) engine axes in vehicle axes.
    """

    layout: Layout
    train: Train
    about_crank: FreeForces
    about_mass: FreeForces
    force: Phasors
    couple: Phasors
    roll_order: np.ndarray
    roll: np.ndarray
    torque: np.ndarray
    gas_order: np.ndarray
    gas: np.ndarray
    unit: float
    arm: float
    middle: float
    conditions: Conditions
    counterweights: tuple[Weight, ...]
    shafts: tuple[Weight, ...]
    axes: np.ndarray

    @property
    def couple_course(self) -> np.ndarray:
        """The couple (n) N m about the middle of the throws over crank angle."""
        return self.about_crank.about(np.array([self.middle, 0.0, 0.0])).couple

    @property
    def couple_unit(self) -> float:
        """One cylinder's primary force times the throw spacing, N m; a single throw is measured against its bore."""
        return self.unit * (self.arm or self.layout.cylinders[0].bore)


def find_balance(case_file: CaseFile, speed: float | None = None) -> Balance:
    """Free forces and couples of a case's engine, at its run speed unless `speed` (rad/s) is given.

    Raises InputError when the case has no engine or no speed.
    """
    if case_file.case.engine is None:
        raise InputError("engine: is missing; balance needs an [engine] table")
    if speed is None:
        if case_file.case.run is None or case_file.case.run.speed == 0.0:
            raise InputError("run.speed: is missing; give it, or --speed-rpm")
        speed = abs(case_file.case.run.speed)
    packed = pack(_at_speed(case_file.case, speed), case_file.folder)
    layout = packed.layout
    assert layout is not None
    model = packed.model
    free = free_forces(model.train, speed)
    middle = middle_of_throws(layout)
    centred = free.about(np.array([middle, 0.0, 0.0]))
    inertia = orders_of(np.column_stack([free.roll, free.torque]), float(free.turns), float(free.turns))
    torques = _complex(inertia)[1:]
    gas_order, gas = _gas_orders(packed, speed)
    force, couple = split(free.force, free.turns), split(centred.couple, free.turns)
    return Balance(
        layout=layout,
        train=model.train,
        about_crank=free,
        about_mass=free.about(-np.array(model.crank_origin)),
        force=force,
        couple=couple,
        roll_order=inertia.order[1:],
        roll=torques[:, 0],
        torque=torques[:, 1],
        gas_order=gas_order,
        gas=gas,
        unit=primary_force(layout, speed),
        arm=throw_spacing(layout),
        middle=middle,
        conditions=cancellation_sums(layout),
        counterweights=best_counterweights(force, couple, speed, outer_planes(layout, middle), middle),
        shafts=_first_order_shaft(force, couple, speed, middle),
        axes=layout.axes,
    )


def _at_speed(case: Case, speed: float) -> Case:
    """The case run steadily at a speed (rad/s), so that its working cycle is the one of that speed; no mounts, which
    free forces do not see."""
    run = Run(speed=speed) if case.run is None else case.run.model_copy(update={"kind": "steady", "speed": speed})
    return case.model_copy(update={"run": run, "mount": ()})


def _gas_orders(packed: Packed, speed: float) -> tuple[np.ndarray, np.ndarray]:
    angles = np.linspace(0.0, packed.cycle, GAS_POINTS, endpoint=False)
    torque = np.zeros_like(angles)
    if packed.model.gas.active:
        gas_torques(angles, speed, packed.model, torque)
    turns = packed.cycle / (2.0 * math.pi)
    found = orders_of(torque, turns, turns)
    return found.order[1:], _complex(found)[1:]


def _complex(orders: Orders) -> np.ndarray:
    return orders.amplitude * np.exp(1j * orders.phase)


def outer_planes(layout: Layout, middle: float) -> tuple[float, float]:
    """Two planes for counterweights: the outermost throws, or a bore apart if there is one throw."""
    places = [layout.cylinders[index].at for throw in layout.throws for index in throw]
    half = max(0.5 * (max(places) - min(places)), 0.5 * layout.cylinders[0].bore)
    return middle - half, middle + half


def best_counterweights(
    force: Phasors, couple: Phasors, speed: float, planes: tuple[float, float], middle: float
) -> tuple[Weight, ...]:
    """Two crank counterweights, besides those there are, that take away the forward first order of force and couple.

    Closed form (derived): U₁ + U₂ = −P/Ω² and x₁U₁ + x₂U₂ = −K/Ω² for complex unbalances. No counterweight does better
    for the greatest first-order force or couple: the backward part Q stays, and |P| + |Q| is least at P = 0.
    """
    push, turn = force.at(1.0)[0], couple.at(1.0)[0]
    first, second = (plane - middle for plane in planes)
    total, moment = -push / speed**2, -turn / speed**2
    right = (moment - first * total) / (second - first)
    return tuple(_weight(value, at, 1.0) for value, at in ((total - right, planes[0]), (right, planes[1])))


def _first_order_shaft(force: Phasors, couple: Phasors, speed: float, middle: float) -> tuple[Weight, ...]:
    """The shaft at −1 that takes away the backward first-order force, placed where the backward couple vanishes too.

    Derived: an eccentric U at ratio −1 pushes with U·Ω²·e^{i(angle − θ)}. The place is exact when force and couple have
    the same phase, and the nearest one otherwise.
    """
    push, turn = force.at(1.0)[1], couple.at(1.0)[1]
    if abs(push) == 0.0:
        return ()
    return (_weight((-push / speed**2), middle + (turn / push).real, -1.0),)


def _weight(unbalance: complex, at: float, ratio: float) -> Weight:
    return Weight(abs(unbalance), cmath.phase(unbalance), at, ratio)


def verdict(balance: Balance) -> list[str]:
    """What there is and what could take it away, in plain words with the numbers behind them."""
    unit, couple_unit = balance.unit, balance.couple_unit
    arm = "F·a" if balance.arm else "F·bore"
    lines = []
    for order, name in ((1.0, "first"), (2.0, "second")):
        for what, phasors, scale, word in (
            ("force", balance.force, unit, "F"),
            ("couple", balance.couple, couple_unit, arm),
        ):
            forward, backward = (abs(value) / scale for value in phasors.at(order))
            lines.append(f"{name}-order {what}: " + _judge(order, what, forward, backward, word))
    return lines


def _judge(order: float, what: str, forward: float, backward: float, word: str) -> str:
    if max(forward, backward) < NEGLIGIBLE:
        return "none"
    ways = []
    if forward >= NEGLIGIBLE:
        way = "crank counterweights can take it away" if order == 1.0 else f"needs a shaft at +{order:g}"
        ways.append(f"{forward:.3g} {word} turns with the crank: {way}")
    if backward >= NEGLIGIBLE:
        ends = " with a weight at either end" if what == "couple" else ""
        way = f"no counterweight reaches it, needs a shaft at −{order:g}{ends}"
        ways.append(f"{backward:.3g} {word} turns against it: {way}")
    return "; ".join(ways)


def order_rows(balance: Balance) -> list[dict[str, Any]]:
    """One row per order up to 6: force and couple split by sense of rotation."""
    rows = []
    for index, order in enumerate(balance.force.order):
        if order > SHOWN_ORDERS:
            break
        row: dict[str, Any] = {"order": float(order)}
        for name, phasors, scale in (
            ("force_N", balance.force, balance.unit),
            ("couple_N_m", balance.couple, balance.couple_unit),
        ):
            row[name] = {
                "forward": float(abs(phasors.forward[index])),
                "backward": float(abs(phasors.backward[index])),
                "major": float(phasors.major[index]),
                "minor": float(phasors.minor[index]),
                "direction_deg": math.degrees(phasors.direction[index]),
                "forward_phase_deg": math.degrees(cmath.phase(phasors.forward[index])),
                "backward_phase_deg": math.degrees(cmath.phase(phasors.backward[index])),
                "share": float(phasors.major[index] / scale),
            }
        rows.append(row)
    return rows


def torque_rows(balance: Balance) -> list[dict[str, float]]:
    """Torque on the crank by inertia and gas, and roll on the block by inertia, per order up to 6; half orders too
    where a four-stroke has them."""
    orders = sorted({float(order) for order in (*balance.roll_order, *balance.gas_order) if order <= SHOWN_ORDERS})
    return [
        {
            "order": order,
            "inertia_on_crank_N_m": abs(value_at(balance.roll_order, balance.torque, order)),
            "gas_on_crank_N_m": abs(value_at(balance.gas_order, balance.gas, order)),
            "inertia_on_block_N_m": abs(value_at(balance.roll_order, balance.roll, order)),
        }
        for order in orders
    ]


def value_at(orders: np.ndarray, values: np.ndarray, order: float) -> complex:
    """The value of an order, 0 if it does not occur."""
    index = np.flatnonzero(np.abs(orders - order) < 1e-9)
    return complex(values[index[0]]) if len(index) else 0.0j


def as_dict(balance: Balance) -> dict[str, Any]:
    """Plain numbers for machines."""
    conditions, intervals = balance.conditions, balance.layout.firing_intervals()
    return {
        "speed_rpm": balance.about_crank.speed * 30.0 / math.pi,
        "primary_force_of_one_cylinder_N": balance.unit,
        "throw_spacing_mm": 1e3 * balance.arm,
        "firing_intervals_deg": [math.degrees(value) for value in intervals],
        "longest_firing_interval_over_even": max(intervals) * len(intervals) / sum(intervals),
        "orders": order_rows(balance),
        "vehicle_axes": vehicle_rows(balance.axes, balance.about_crank, balance.about_mass, SHOWN_ORDERS),
        "torque": torque_rows(balance),
        "verdict": verdict(balance),
        "cancellation": {
            "force_sum_share": abs(conditions.force) / conditions.scale if conditions.scale else 0.0,
            "force_sum_angle_deg": math.degrees(cmath.phase(conditions.force)),
            "couple_sum_angle_deg": math.degrees(cmath.phase(conditions.couple)),
            "couple_sum_share": abs(conditions.couple) / conditions.couple_scale if conditions.couple_scale else 0.0,
        },
        "greatest_force_N": float(np.abs(balance.about_crank.force).max()),
        "greatest_couple_about_crank_origin_N_m": float(np.abs(balance.about_crank.couple).max()),
        "greatest_couple_about_centre_of_mass_N_m": float(np.abs(balance.about_mass.couple).max()),
        "counterweights_to_add": [weight_row(weight) for weight in balance.counterweights],
        "shafts_to_add": [weight_row(weight) for weight in balance.shafts],
    }


def weight_row(weight: Weight) -> dict[str, float]:
    return {
        "ratio": weight.ratio,
        "unbalance_kg_mm": 1e3 * weight.unbalance,
        "angle_deg": math.degrees(weight.angle),
        "at_mm": 1e3 * weight.at,
    }
