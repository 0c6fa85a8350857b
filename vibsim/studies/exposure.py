"""What a day does to the people at the sensors: a duty cycle of operating points with hours, combined.

Daily exposure A(8) = √(Σ a²·T/8 h) over the points (2002/44/EC, annexes A and B; ISO 5349-1, 5.2), of a grip with the
vector sum, of a whole body axis by axis with its factors, the greatest of which counts; its dose is the fourth root of
the sum of fourth powers (ISO 2631-1, 6.3.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Duty
from vibsim.post.exposure import Felt, contacts_of, felt_in
from vibsim.post.exposure_rules import HOURS, Daily, comfort_words, daily_values, hours_until
from vibsim.results.labelled import Group
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import run_at
from vibsim.studies.run import run_case

RPM = 30.0 / math.pi
SHORT = 0.05  # s, record of a steady point: what is felt comes from its last cycle


@dataclass(frozen=True)
class Point:
    """An operating point: `speed` (rad/s) and `load` as run, `hours` of a day, what is `felt` at every contact, and
    what is doubtful about it."""

    name: str
    speed: float
    load: float
    hours: float
    felt: tuple[Felt, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Day:
    """A contact over the day. `level` A(8) in m/s², by its worst `axis` or "sum"; `shares` (points) of A(8)²; `dose`
    m/s^1.75 of a whole body, else None; hours of the day's mix until action and limit value, infinite if never."""

    name: str
    contact: str
    level: float
    axis: str
    shares: np.ndarray
    dose: float | None
    values: Daily

    @property
    def verdict(self) -> str:
        """By A(8) and, of a whole body, by the dose."""
        values, dose = self.values, self.dose or 0.0
        if self.level > values.limit or dose > (values.dose_limit or math.inf):
            return "above the limit value"
        past = self.level > values.action or dose > (values.dose_action or math.inf)
        return "above the action value" if past else "below the action value"


@dataclass(frozen=True)
class Exposure:
    """A day: its points, and every contact judged for health, worst share of its action value first."""

    title: str
    points: tuple[Point, ...]
    days: tuple[Day, ...]

    @property
    def hours(self) -> float:
        return sum(point.hours for point in self.points)

    def hours_until(self, day: Day, value: float) -> float:
        """Hours of this mix of points after which A(8) is a value (m/s²)."""
        return hours_until(value, day.level, self.hours)


def duty_exposure(case_file: CaseFile, hours: float | None = None, progress: Progress = no_progress) -> Exposure:
    """Exposure over the case's duty cycle, every point a steady run; or `hours` (default 8) of its run without one.

    Raises InputError when no sensor has a contact, or hours are given beside a duty cycle.
    """
    require_contact({item.name: item.contact for item in case_file.case.sensor}, case_file.name)
    title = case_file.case.case.title or case_file.name
    duty = case_file.case.duty
    if duty and hours is not None:
        raise InputError(f"--hours: got {hours:g}; {case_file.name} has its hours in [[duty]]")
    if duty and case_file.case.run is None:
        raise InputError("run: is missing; [[duty]] takes tolerances and what else holds from it")
    if not duty:
        results = run_case(case_file, progress)
        return combined(title, (point_of(results, "the run", HOURS if hours is None else hours),))
    points = []
    for number, item in enumerate(duty):
        progress("duty points", number, len(duty))
        points.append(point_of(run_case(at_duty(case_file, item)), _name(item), item.hours))
    return combined(title, tuple(points))


def at_duty(case_file: CaseFile, duty: Duty) -> CaseFile:
    """The case as a steady run at a point of duty; its record short unless cycles differ."""
    run = case_file.case.run
    assert run is not None
    changes: dict[str, Any] = {} if run.variation is not None else {"duration": SHORT}
    return run_at(case_file, duty.speed, duty.load, **changes)


def _name(duty: Duty) -> str:
    return duty.name or f"{duty.speed * RPM:.0f} rpm, load {duty.load:g}"


def results_exposure(results: Sequence[Group], names: Sequence[str], hours: Sequence[float]) -> Exposure:
    """Exposure over runs already made, each with its hours; contacts as in the case that each was made from.

    Raises InputError when no sensor has a contact, or contacts differ between the files.
    """
    for result, name in zip(results, names, strict=True):
        found = contacts_of(result)
        require_contact({sensor: found.get(sensor) for sensor in result.labels("sensor")}, name)
        if found != contacts_of(results[0]):
            raise InputError(f"{name}: touches {_listed(found)}; {names[0]} touches {_listed(contacts_of(results[0]))}")
    points = [point_of(result, name, of) for result, name, of in zip(results, names, hours, strict=True)]
    return combined(str(results[0].attributes["title"]), tuple(points))


def require_contact(contacts: dict[str, str | None], name: str) -> None:
    """Raise InputError when no sensor has a contact (contact by sensor)."""
    if any(contacts.values()):
        return
    if not contacts:
        raise InputError(f"{name}: sensor: is missing; exposure needs a [[sensor]] with a contact: {ALLOWED}")
    raise InputError(f"{name}: sensor.contact: is missing from {', '.join(contacts)}; exposure needs one of {ALLOWED}")


ALLOWED = "'grip', 'seat', 'backrest', 'footrest'"


def _listed(contacts: dict[str, str]) -> str:
    return ", ".join(f"{name} ({word})" for name, word in contacts.items())


def point_of(results: Group, name: str, hours: float) -> Point:
    """A run as an operating point of some hours of the day."""
    remarks = [] if results.attributes.get("settled", 1) else [f"{name}: the run did not settle"]
    felt = tuple(felt_in(results))
    uneven = "not steady, or with shocks: the rms alone says too little, see MTVV and VDV"
    remarks += [f"{name}: {item.name}: {uneven}" for item in felt if item.shocks]
    return Point(name, _mean_speed(results), float(results.attributes["load"]), hours, felt, tuple(remarks))


def _mean_speed(results: Group) -> float:
    if "torque" in results.groups:
        return float(results.groups["torque"].attributes["mean_speed_rad_per_s"])
    return float(np.mean(results["crank_speed"]))  # of a run of steps


def combined(title: str, points: tuple[Point, ...]) -> Exposure:
    """The points of a day put together, contact by contact."""
    days = []
    for number, felt in enumerate(points[0].felt):
        if felt.for_health is not None:
            days.append(_day([point.felt[number] for point in points], [point.hours for point in points]))
    days.sort(key=lambda day: -day.level / day.values.action)
    return Exposure(title, points, tuple(days))


def _day(felt: list[Felt], hours: list[float]) -> Day:
    first = felt[0]
    assert first.rule.health is not None
    part = np.array([item.for_health for item in felt]) ** 2 * np.array(hours)[:, None] / HOURS  # (points, axes)
    whole = part.sum(axis=0)
    worst = int(whole.argmax())
    dose = None
    if not first.rule.vector_sum:
        fourth = np.array([(np.array(item.rule.health) * item.dose_in_an_hour) ** 4 for item in felt])
        dose = float((fourth * np.array(hours)[:, None]).sum(axis=0).max() ** 0.25)
    return Day(
        name=first.name,
        contact=first.contact,
        level=math.sqrt(float(whole[worst])),
        axis="sum" if first.rule.vector_sum else "XYZ"[worst],
        shares=part[:, worst] / whole[worst] if whole[worst] > 0.0 else np.zeros(len(felt)),
        dose=dose,
        values=daily_values(first.contact),
    )


def overall_comfort(point: Point) -> float | None:
    """Root sum of squares over seat, backrest and feet of one person (ISO 2631-1, 8.2.3), m/s²; None where there are
    several seats, whose backrests and footrests cannot be told apart, or nothing to add to one."""
    totals = [item.total for item in point.felt if item.total is not None]
    seats = [item for item in point.felt if item.contact == "seat"]
    if len(seats) != 1 or len(totals) < 2 or any(item.contact.endswith("standing") for item in point.felt):
        return None
    return math.sqrt(sum(total**2 for total in totals))


def as_rows(exposure: Exposure) -> dict[str, Any]:
    """The exposure as plain numbers and words, hours None where a value is never reached."""
    return {
        "title": exposure.title,
        "hours": exposure.hours,
        "points": [_point_row(point) for point in exposure.points],
        "daily": [_day_row(exposure, day) for day in exposure.days],
    }


def _point_row(point: Point) -> dict[str, Any]:
    return {
        "name": point.name,
        "speed_rpm": point.speed * RPM,
        "load": point.load,
        "hours": point.hours,
        "felt": [_felt_row(felt) for felt in point.felt],
        "overall_comfort_m_per_s2": overall_comfort(point),
        "remarks": list(point.remarks),
    }


def _felt_row(felt: Felt) -> dict[str, Any]:
    per_axis = {"raw": felt.raw, "weighted": felt.rms, "peak": felt.peak, "mtvv": felt.mtvv}
    health = felt.for_health
    return {
        "sensor": felt.name,
        "contact": felt.contact,
        "standard": felt.rule.standard,
        "weightings": list(felt.rule.weightings),
        **{f"{name}_m_per_s2": values.tolist() for name, values in per_axis.items()},
        "crest_factor": felt.crest.tolist(),
        "vdv_of_an_hour_m_per_s1_75": felt.dose_in_an_hour.tolist(),
        "for_health_m_per_s2": None if health is None else float(health.max()),
        "comfort_total_m_per_s2": felt.total,
        "comfort": None if felt.total is None else comfort_words(felt.total),
        "weighted_by": felt.method,
    }


def _day_row(exposure: Exposure, day: Day) -> dict[str, Any]:
    until = {
        name: exposure.hours_until(day, value)
        for name, value in (("action", day.values.action), ("limit", day.values.limit))
    }
    return {
        "sensor": day.name,
        "contact": day.contact,
        "a8_m_per_s2": day.level,
        "axis": day.axis,
        "action_m_per_s2": day.values.action,
        "limit_m_per_s2": day.values.limit,
        **{f"hours_to_{name}": value if math.isfinite(value) else None for name, value in until.items()},
        "vdv_m_per_s1_75": day.dose,
        "vdv_action_m_per_s1_75": day.values.dose_action,
        "vdv_limit_m_per_s1_75": day.values.dose_limit,
        "shares": dict(zip((point.name for point in exposure.points), day.shares.tolist(), strict=True)),
        "verdict": day.verdict,
    }
