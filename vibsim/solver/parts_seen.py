"""Quantities that only cases with wheels, occupants or a clutch have, by name: dimensions after the first, units,
description."""

from __future__ import annotations

from vibsim.solver.clutch_seen import SEEN as OF_CLUTCH
from vibsim.solver.vertical_seen import SEEN as OF_WHEELS

SEEN_OF_PARTS: dict[str, tuple[tuple[str, ...], str, str]] = {**OF_WHEELS, **OF_CLUTCH}
