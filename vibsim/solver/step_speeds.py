"""Crank speeds that the gas is needed at in a run of steps."""

from __future__ import annotations

import math

import numpy as np

from vibsim.inputs.models import Case
from vibsim.inputs.steps import is_prescribed, made_ready, stepped, steps_of

SLOWEST = 20.0  # rad/s, below which a working cycle takes long to compute; the pressures there are used
NODE_RATIO = 1.35  # of one speed that the gas is known at to the next
BELOW, ABOVE = 0.9, 1.1  # of the least and greatest speed of the steps
SWING = 1.5  # times its mean that the speed of a free crank may swing to
FLARE = 2.5  # times idle speed that an engine may reach as it starts


def speeds_of_run(case: Case) -> np.ndarray:
    """Crank speeds (n) rad/s that the gas is needed at in a run of steps, ascending, each a ratio above the last."""
    case = made_ready(case)
    assert case.run is not None
    if not stepped(case.run):  # a governor at work about its speed
        return np.geomspace(max(BELOW / NODE_RATIO * case.run.speed, SLOWEST), SWING * case.run.speed, 4)
    steps, governor = steps_of(case.run), case.engine.governor if case.engine else None
    named = [case.run.speed, *(step.speed_to for step in steps if step.speed_to)]
    low, high = BELOW * min(named), ABOVE * max(named)
    if any(step.kind in ("start", "stop") or not is_prescribed(step) for step in steps):
        low, high = SLOWEST, SWING * max(named)
    if governor and any(step.kind in ("start", "idle") for step in steps):
        high = max(high, FLARE * governor.speed)
    low = max(low, SLOWEST)
    count = max(math.ceil(math.log(high / low) / math.log(NODE_RATIO)), 1) + 1
    return np.geomspace(low, high, count)
