"""Before and after a cure, both computed from their case files."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.inputs.loader import CaseFile
from vibsim.studies.balance import Balance, find_balance, value_at
from vibsim.studies.cures.cure import Aim, Cure, cured, felt, sensor_goal
from vibsim.studies.cures.goals import Eccentric

WORSE = 0.05  # of one cylinder's primary force (times the throw spacing), or of the level itself


def outcome(case_file: CaseFile, cure: Cure, aim: Aim, order: float = 1.0) -> dict[str, Any]:
    """What is added, and rows of (what, unit, before, after) at the aim's first speed."""
    speed = aim.speeds[0]
    after_file = cured(case_file, cure)
    before, after = find_balance(case_file, speed), find_balance(after_file, speed)
    found: dict[str, Any] = {
        "speed_rpm": speed * 30.0 / math.pi,
        "primary_force_of_one_cylinder_N": before.unit,
        "couple_unit_N_m": before.couple_unit,
        "counterweights": [_row(weight) for weight in cure.counterweights],
        "shafts": [_row(shaft) for shaft in cure.shafts],
        "masses": [{"cylinder": name, "added_g": 1e3 * mass} for name, mass in cure.masses],
        "free": _free_rows(before, after, order),
        "sums": _sum_rows(before, after),
        "felt": _goal_row(case_file, after_file, aim, order) + _felt_rows(case_file, after_file, speed),
    }
    found["remarks"] = remarks(found, cure, aim)
    return found


def remarks(found: dict[str, Any], cure: Cure, aim: Aim) -> list[str]:
    """What a reader should not overlook: what the cure makes worse, and what the figures do not say."""
    scales = {"N": found["primary_force_of_one_cylinder_N"], "N m": found["couple_unit_N_m"]}
    worse = [
        f"{row['what']} {row['before']:.1f} → {row['after']:.1f} {row['unit']}"
        for row in found["free"]
        if row["after"] - row["before"] > WORSE * scales[row["unit"]]
    ]
    worse += [
        f"{row['what']} {row['before']:.3g} → {row['after']:.3g} {row['unit']}"
        for row in found["felt"]
        if row["after"] > (1.0 + WORSE) * row["before"]
    ]
    lines = ["it makes worse: " + "; ".join(worse)] if worse else []
    if len(cure.shafts) == 2 and cure.shafts[0].ratio == cure.shafts[1].ratio:
        lines.append("both entries turn alike: on one axis they are two weights of one shaft")
    if len(aim.speeds) > 1:
        lines.append(f"the goal counts {len(aim.speeds)} speeds, every other figure is at {found['speed_rpm']:.0f} rpm")
    return lines


def _row(weight: Eccentric) -> dict[str, Any]:
    return {
        "ratio": weight.ratio,
        "unbalance_kg_mm": 1e3 * weight.unbalance,
        "angle_deg": math.degrees(weight.angle),
        "at_mm": 1e3 * weight.place[0],
        "position_mm": [1e3 * value for value in weight.place[1:]],
    }


def _free_rows(before: Balance, after: Balance, order: float) -> list[dict[str, Any]]:
    rows = []
    for shown in sorted({1.0, 2.0, order}):
        for what, unit in (("force", "N"), ("couple", "N m")):
            old, new = getattr(before, what).at(shown), getattr(after, what).at(shown)
            for index, sense in enumerate(("with the crank", "against it")):
                rows.append(_pair(f"order {shown:g} {what}, {sense}", unit, abs(old[index]), abs(new[index])))
    rows.append(
        _pair("greatest force over the revolution", "N", *(_peak(b.about_crank.force) for b in (before, after)))
    )
    rows.append(_pair("greatest couple about mid-throws", "N m", *(_peak(_centred(b)) for b in (before, after))))
    rows.append(
        _pair(f"order {order:g} roll on the block, gas in it", "N m", *(_roll(b, order) for b in (before, after)))
    )
    return rows


def _peak(values: np.ndarray) -> float:
    return float(np.abs(values).max())


def _centred(balance: Balance) -> np.ndarray:
    return balance.about_crank.about(np.array([balance.middle, 0.0, 0.0])).couple


def _roll(balance: Balance, order: float) -> float:
    inertia = value_at(balance.roll_order, balance.roll, order)
    return abs(inertia - value_at(balance.gas_order, balance.gas, order))


def _sum_rows(before: Balance, after: Balance) -> list[dict[str, Any]]:
    rows = []
    for name, scale, words in (
        ("force", "scale", "|Σ m·e^(i(2·bank − pin))| / Σ m"),
        ("couple", "couple_scale", "the same weighted with place"),
    ):
        shares = []
        for balance in (before, after):
            whole = getattr(balance.conditions, scale)
            shares.append(abs(getattr(balance.conditions, name)) / whole if whole else 0.0)
        rows.append(_pair(words, "1", *shares))
    return rows


def _goal_row(case_file: CaseFile, after: CaseFile, aim: Aim, order: float) -> list[dict[str, Any]]:
    """What the aim's sensor feels of the order, weighted, rms over speeds."""
    if aim.kind != "sensor":
        return []
    sizes = [
        np.linalg.norm(sensor_goal(file, aim, order).now) / math.sqrt(2 * len(aim.speeds))
        for file in (case_file, after)
    ]
    weighting = "unweighted" if aim.contact == "plain" else f"weighted as a {aim.contact}"
    name = aim.sensor or case_file.case.sensor[0].name
    return [_pair(f"goal: order {order:g} at {name}, rms, {weighting}", "m/s²", *(float(size) for size in sizes))]


def _felt_rows(case_file: CaseFile, after: CaseFile, speed: float) -> list[dict[str, Any]]:
    old, new = felt(case_file, speed), felt(after, speed)
    rows = [_pair(f"mount {name}, rms", "N", old["mounts"][name], new["mounts"][name]) for name in old["mounts"]]
    rows += [
        _pair(f"sensor {name}, rms", "m/s²", old["sensors"][name], new["sensors"][name]) for name in old["sensors"]
    ]
    return rows


def _pair(what: str, unit: str, before: float, after: float) -> dict[str, Any]:
    return {"what": what, "unit": unit, "before": before, "after": after}
