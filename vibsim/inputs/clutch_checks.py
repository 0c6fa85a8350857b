"""Checks of a clutch that closes in a run: a shaft to sit in, and something behind it."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import Any

from vibsim.inputs.rotor_models import CRANK_PARTS

Report = Callable[[tuple[str | int, ...], Any, str], None]
WHERE = ("run", "clutch")
KINDS = ("load_step", "free")


def check_clutch(clean: dict[str, Any], report: Report) -> None:
    """Report a clutch in a run that has none, without a shaft, or bypassed by another."""
    run = clean.get("run")
    clutch = run.get("clutch") if isinstance(run, dict) else None
    if not isinstance(run, dict) or not isinstance(clutch, dict):
        return
    if run.get("kind", "steady") not in KINDS:
        report(WHERE, None, 'goes with kind = "load_step" or "free"')
    if run.get("hold_speed") is True:
        report(("run", "hold_speed"), True, "goes without a clutch that closes, which leaves the crank to itself")
    shafts = [shaft for shaft in clean.get("shaft") or () if isinstance(shaft, dict)]
    if not shafts:
        report(WHERE, None, "needs a driveline to close on: [[rotor]] tables and a [[shaft]] that it sits in")
        return
    labels = [label_of(shaft) for shaft in shafts]
    name = clutch.get("shaft")
    if not isinstance(name, str):
        return
    if name not in labels:
        near = difflib.get_close_matches(name, labels, n=1)
        hint = f"did you mean {near[0]!r}?" if near else "allowed: " + ", ".join(labels)
        report((*WHERE, "shaft"), name, f"no such shaft; {hint}")
        return
    shaft = shafts[labels.index(name)]
    if not shaft.get("damping"):
        report((*WHERE, "shaft"), name, "needs damping_N_m_s_per_rad, without which its disc has no torque to slip at")
    pairs = [shaft.get("between") for shaft in shafts if isinstance(shaft.get("between"), tuple)]
    ends = shaft.get("between")
    if not isinstance(ends, tuple) or len(ends) != 2:
        return
    ahead = ahead_of(ends, pairs)
    if all(end in ahead for end in ends):
        report((*WHERE, "shaft"), name, "another shaft joins both its ends, so that it parts nothing")
    elif ends[0] not in ahead and ends[1] not in ahead:
        report((*WHERE, "shaft"), name, "no [[shaft]] joins it to the crank")


def label_of(shaft: dict[str, Any]) -> str:
    """Name of a shaft, or its ends."""
    between = shaft.get("between")
    ends = between if isinstance(between, tuple) and len(between) == 2 else ("?", "?")
    return str(shaft.get("name") or f"{ends[0]} to {ends[1]}")


def ahead_of(ends: tuple[str, str], pairs: list[Any]) -> set[str]:
    """Names of rotors that the crank still turns with the shaft between two of them gone."""
    left = list(pairs)
    left.remove(ends)
    reached: set[str] = set(CRANK_PARTS)
    for _ in left:
        for pair in left:
            if any(name in reached for name in pair):
                reached.update(pair)
    return reached
