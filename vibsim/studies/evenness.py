"""Even and uneven firing side by side: orders, torque ripple, speed, what rider and passengers feel, sound."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.layout import resolve_layout
from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.post.orders import Orders, orders_over
from vibsim.post.torque import Ripple, ripple_of, torque_names, torques
from vibsim.post.weighting import CONTACTS, Contact, axis_weights
from vibsim.results.labelled import Group
from vibsim.results.wav import Sound
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import run_at
from vibsim.studies.listen import SECONDS, exhaust_sound, sensor_sound
from vibsim.studies.run import run_case

RECORD = 0.1  # s; what is compared comes from its last whole cycle
RPM = 30.0 / math.pi
WEIGHTED = (
    "weighted: ISO 2631-1 on a seat (Wd, Wd, Wk, factors 1 as for comfort), ISO 5349-1 at a grip (Wh), each order at "
    "its frequency, the three axes by root sum of squares"
)


@dataclass(frozen=True)
class Felt:
    """At a sensor: rms acceleration m/s² unweighted and weighted by its contact (None where it has none), strongest
    order with its amplitude m/s²."""

    name: str
    contact: Contact
    rms: float
    weighted: float | None
    order: float
    amplitude: float


@dataclass(frozen=True, eq=False)
class FiringCase:
    """One case at the operating point. `firing` names and rad; `cyclic` the run's evenness figures; `torque` (n) N m
    net over a cycle at `angle` (n) rad with `orders` and `ripple`; crank `speed` (n) rad/s; `sounds` of the exhaust,
    then of the sensors asked for."""

    name: str
    title: str
    firing: tuple[tuple[str, float], ...]
    cyclic: dict[str, Any]
    intervals: np.ndarray
    angle: np.ndarray
    torque: np.ndarray
    speed: np.ndarray
    load_torque: float
    ripple: Ripple
    orders: Orders
    felt: tuple[Felt, ...]
    sounds: tuple[Sound, ...]
    settled: bool


def compare_firing(
    case_files: list[CaseFile],
    speed: float,
    load: float | None = None,
    contacts: dict[str, Contact] | None = None,
    seconds: float = SECONDS,
    progress: Progress = no_progress,
) -> list[FiringCase]:
    """Steady runs of cases at one crank speed (rad/s) and load (0 to 1, None as given).

    `contacts` names sensors that are seats or grips, besides those that say so themselves. Raises InputError for names
    that stand twice or sensors there are none of, RunFailure when a run cannot be carried through.
    """
    names = [case_file.name for case_file in case_files]
    if len(set(names)) < len(names):
        raise InputError(f"evenness: got {names}; the cases' file names must differ")
    found: list[FiringCase] = []
    for number, case_file in enumerate(case_files, start=1):
        declared = _contacts(case_file, contacts or {})
        first = found[0].sounds if found else ()
        axes = {sound.about["sensor"]: sound.about["axis"] for sound in first if "sensor" in sound.about}
        found.append(_one(run_at(case_file, speed, load, duration=RECORD), declared, axes, seconds))
        progress("runs", number, len(case_files))
    return found


def _contacts(case_file: CaseFile, given: dict[str, Contact]) -> dict[str, Contact]:
    """What each sensor is: as given, or as its own key says."""
    names = [sensor.name for sensor in case_file.case.sensor]
    for name, contact in given.items():
        if name not in names:
            raise InputError(f"--{contact}: got {name!r}; {case_file.name}: {nearest(name, names)}")
    own = {sensor.name: getattr(sensor, "contact", None) for sensor in case_file.case.sensor}
    declared: dict[str, Contact] = {name: word for name, word in own.items() if word in CONTACTS}
    return dict.fromkeys(names, "plain") | declared | given  # type: ignore[return-value]


def _one(case_file: CaseFile, contacts: dict[str, Contact], axes: dict[str, str], seconds: float) -> FiringCase:
    """`axes` along which sensors are heard, those of the first case."""
    results = run_case(case_file)
    engine, cycle = case_file.case.engine, results.groups["cycle"]
    assert engine is not None
    layout = resolve_layout(engine)
    net = torques(cycle)[:, -1]
    torque = results.groups["torque"]
    column = torque_names(cycle).index("net")
    felt = tuple(_felt(results, name, contact) for name, contact in contacts.items())
    sounds = [exhaust_sound(results, seconds=seconds, engine=engine)] if _has_gas(results) else []
    sounds += [sensor_sound(results, item.name, axes.get(item.name), seconds) for item in _heard(felt)]
    return FiringCase(
        name=case_file.name,
        title=case_file.case.case.title or case_file.name,
        firing=tuple(layout.firing_sequence()),
        cyclic=dict(results.groups["cyclic"].attributes),
        intervals=np.array(layout.firing_intervals()),
        angle=cycle["cycle_angle"],
        torque=net,
        speed=cycle["crank_speed"],
        load_torque=float(cycle["load_torque"].mean()),
        ripple=ripple_of(net, cycle.attributes["cycle_length_rad"]),
        orders=Orders(torque["order"], torque["amplitude"][:, column], torque["phase"][:, column]),
        felt=felt,
        sounds=tuple(sounds),
        settled=bool(results.attributes["settled"]),
    )


def _has_gas(results: Group) -> bool:
    return bool(np.ptp(results["cylinder_pressure"]) > 0.0)


def _heard(felt: tuple[Felt, ...]) -> list[Felt]:
    """Sensors to hear: those in contact with people, or the first."""
    touched = [item for item in felt if item.contact != "plain"]
    return touched or list(felt[:1])


def _felt(results: Group, name: str, contact: Contact) -> Felt:
    index = results.labels("sensor").index(name)
    orders = orders_over(results, "sensor_acceleration")
    assert orders is not None
    amplitude = orders.amplitude[1:, index]
    size = np.linalg.norm(amplitude, axis=1)
    top = int(size.argmax())
    rms = float(results["sensors/resultant_rms"][index])
    weighted = None
    if contact != "plain":
        mean = results.groups["torque"].attributes["mean_speed_rad_per_s"]
        weighted = weighted_rms(orders.order[1:], amplitude, mean, contact)
    return Felt(name, contact, rms, weighted, float(orders.order[1 + top]), float(size[top]))


def weighted_rms(order: np.ndarray, amplitude: np.ndarray, speed: float, contact: Contact) -> float:
    """Weighted rms (m/s²) of amplitudes (n, 3) of engine orders (n) at a crank speed (rad/s): root of half the sum of
    squares of amplitude × weight over orders and axes."""
    weights = np.array([axis_weights(contact, at * speed / (2.0 * math.pi)) for at in order])
    return math.sqrt(0.5 * float(np.sum((amplitude * weights) ** 2)))


def rows(found: list[FiringCase]) -> list[dict[str, Any]]:
    """One row per case for tables and JSON."""
    return [
        {
            "case": case.name,
            "title": case.title,
            "firing": [{"cylinder": name, "deg": math.degrees(angle)} for name, angle in case.firing],
            "intervals_deg": [math.degrees(angle) for angle in case.intervals],
            "firing_evenness": case.cyclic.get("firing_evenness"),
            "torque_evenness": case.cyclic.get("torque_evenness"),
            "mean_torque_N_m": case.ripple.mean,
            "torque_swing_N_m": case.ripple.greatest - case.ripple.least,
            "torque_rms_N_m": case.ripple.rms,
            "greatest_over_mean": case.ripple.greatest_over_mean,
            "strongest_order": case.ripple.order,
            "strongest_order_N_m": case.ripple.amplitude,
            "torque_orders": [
                {"order": float(order), "amplitude_N_m": float(amplitude)}
                for order, amplitude in zip(case.orders.order[1:], case.orders.amplitude[1:], strict=True)
                if order <= 6.0
            ],
            "speed_fluctuation": case.cyclic["speed_fluctuation"],
            "energy_swing_J": case.cyclic["energy_swing_J"],
            "energy_fluctuation": case.cyclic.get("energy_fluctuation"),
            "sensors": [felt_row(item) for item in case.felt],
            "sounds": [{"name": sound.name, "rms": sound.rms, "unit": sound.unit} for sound in case.sounds],
            "settled": case.settled,
        }
        for case in found
    ]


def verdict(found: list[FiringCase]) -> str:
    """How evenly one case turns; of several, which turns most evenly and which has least ripple."""
    if len(found) == 1:
        intervals = "–".join(f"{math.degrees(angle):.0f}" for angle in found[0].intervals)
        ripple, fluctuation = found[0].ripple, 100.0 * found[0].cyclic["speed_fluctuation"]
        peak = f", at most {ripple.greatest / ripple.mean:.2f} times its mean" if ripple.mean > 0.0 else ""
        return (
            f"fires every {intervals}°: the crank's speed fluctuates by {fluctuation:.2f} %, the net torque swings by "
            f"{ripple.rms:.1f} N m rms{peak}"
        )
    steady = sorted(found, key=lambda case: case.cyclic["speed_fluctuation"])
    smooth = sorted(found, key=lambda case: case.ripple.rms)
    speeds = [f"{case.name} {100.0 * case.cyclic['speed_fluctuation']:.2f} %" for case in steady]
    ripples = [f"{case.name} {case.ripple.rms:.1f} N m rms" for case in smooth]
    return f"speed fluctuation, least first: {', '.join(speeds)}; torque ripple, least first: {', '.join(ripples)}"


def felt_row(felt: Felt) -> dict[str, Any]:
    return {
        "name": felt.name,
        "contact": felt.contact,
        "rms_m_per_s2": felt.rms,
        "weighted_rms_m_per_s2": felt.weighted,
        "strongest_order": felt.order,
        "strongest_order_m_per_s2": felt.amplitude,
    }
