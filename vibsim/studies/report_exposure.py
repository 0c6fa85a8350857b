"""What a report says of the people on board: A(8) and comfort of every point, a day put together from several runs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.post.exposure import contacts_of, felt_in
from vibsim.post.exposure_rules import HOURS, RULES
from vibsim.results.labelled import Group
from vibsim.studies.exposure import Point, as_rows, combined, results_exposure

NONE = (0.0, 0.0, 0.0)


def run_exposure(results: Group) -> dict[str, Any] | None:
    """Exposure of a day of eight hours of one run, as `exposure.as_rows` says; None where nobody touches a sensor."""
    if "time" not in results or not any(contacts_of(results).values()):
        return None
    if "steps" in results.groups:
        return as_rows(combined(str(results.attributes["title"]), (_of_steps(results),)))
    if "exposure" not in results.groups:
        return None
    return as_rows(results_exposure([results], ["the run"], [HOURS]))


def _of_steps(results: Group) -> Point:
    """A record of several steps as an operating point: as if it were gone through over and over."""
    felt = tuple(felt_in(results))
    shocks = [f"{one.name}: not steady: the rms alone says too little, see MTVV and VDV" for one in felt if one.shocks]
    speed = float(np.mean(np.abs(results["crank_speed"])))
    return Point("the record, over and over", speed, float("nan"), HOURS, felt, tuple(shocks))


def day_exposure(results: Sequence[Group], names: Sequence[str], hours: Sequence[float]) -> dict[str, Any]:
    """A day put together from runs, each with its hours. Raises InputError for hours that do not fit the runs."""
    if len(hours) != len(results):
        raise InputError(f"--hours: got {len(hours)} numbers; must be {len(results)}, one per results file of a run")
    if sum(hours) > 24.0:
        raise InputError(f"--hours: got {sum(hours):g} h in all; a day has 24")
    return as_rows(results_exposure(results, names, hours))


def contact_words(health: np.ndarray, comfort: np.ndarray) -> str:
    """Which contact has these factors (3); that of a seat for a standing person, whose factors are the same."""
    for word, rule in RULES.items():
        if np.allclose(rule.health or NONE, health) and np.allclose(rule.comfort or NONE, comfort):
            return word
    return ""


def felt_at(results: Group) -> tuple[list[str], list[str], np.ndarray, np.ndarray]:
    """Sensors that someone touches, their contacts, A(8) after eight hours and comfort total (1, sensors) of a run."""
    if "exposure" not in results.groups:
        return [], [], np.zeros((1, 0)), np.zeros((1, 0))
    felt = results.groups["exposure"]
    contacts = [str(word) for word in felt["contact"]]
    return felt.labels("felt_at"), contacts, _judged(felt["a8"])[None], _judged(felt["comfort_total"])[None]


def felt_over(results: Group, points: int, lead: int) -> tuple[list[str], list[str], np.ndarray, np.ndarray]:
    """The same of a sweep with `lead` dimensions of points: (points, sensors)."""
    names = results.labels("felt_at")
    if "exposure_a8" not in results or not names:
        return [], [], np.zeros((points, 0)), np.zeros((points, 0))

    def per_point(name: str) -> np.ndarray:
        data = results[name]
        return np.asarray(data, float).reshape(points, *data.shape[lead:])

    health, comfort = per_point("exposure_health_factor"), per_point("exposure_comfort_factor")
    known = np.flatnonzero(np.isfinite(health).all(axis=(1, 2)))
    first = int(known[0]) if len(known) else 0
    contacts = [contact_words(health[first, n], comfort[first, n]) for n in range(len(names))]
    return names, contacts, _judged(per_point("exposure_a8")), _judged(per_point("exposure_comfort_total"))


def _judged(values: np.ndarray) -> np.ndarray:
    """Nought stands where the rules judge nothing: nan."""
    return np.where(np.asarray(values, float) > 0.0, values, np.nan)
