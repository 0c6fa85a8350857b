"""The packed model of a run whose cycles differ: what settles, and what is recorded."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.variation import (
    LEAD,
    burning_pattern,
    found_variation,
    relative_series,
    shares_of,
    variation_scatter,
    whole_cycles,
    with_shares,
)
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Run
from vibsim.inputs.variation_models import MOST_CYCLES
from vibsim.solver.fed import SPEED_NODES
from vibsim.solver.packed import Packed

SLACK = 1.02  # of the greatest speed, for the length of the series


@dataclass(frozen=True)
class FoundVariation:
    """Variation of gross indicated mean pressure asked for and found in a record of so many cycles, and the standard
    deviation to be expected of what is found; misfires are left out. `found` is None of too few cycles."""

    asked: float
    found: float | None
    scatter: float | None
    cycles: int
    seed: int


def with_misfire(packed: Packed, run: Run) -> Packed:
    """The model with the run's pattern of misfire, which repeats after `repeats` working cycles."""
    pattern = _pattern(packed, run)
    if pattern is None:
        return packed
    return _with(packed, with_shares(packed.model.gas, pattern))._replace(repeats=len(pattern))


def with_variation(packed: Packed, run: Run) -> Packed:
    """The model with the run's variation and misfire, from crank angle zero on; the cycles under way burn as they did.

    Raises InputError for a series too long, or one that cannot be had.
    """
    variation, layout = run.variation, packed.layout
    if variation is None or layout is None:
        return with_misfire(packed, run)
    relative = relative_series(variation, series_length(packed, run), len(layout.cylinders))
    gas = packed.model.gas
    shares = np.concatenate([np.ones((LEAD, relative.shape[1])), shares_of(relative, gas, layout, abs(run.speed))])
    pattern = _pattern(packed, run)
    if pattern is not None:
        shares *= pattern[(np.arange(len(shares)) - LEAD) % len(pattern)]
    return _with(packed, with_shares(gas, shares, LEAD))


def series_length(packed: Packed, run: Run) -> int:
    """Cycles of the series: as given, or enough for the run at the greatest speed it may reach."""
    assert run.variation is not None
    if run.variation.cycles is not None:
        return run.variation.cycles
    fastest = abs(run.speed) * (1.0 if run.kind == "steady" else SPEED_NODES[-1])
    needed = math.ceil(SLACK * fastest * run.duration / packed.cycle) + LEAD
    if needed > MOST_CYCLES:
        raise InputError(
            f"run.variation.cycles: got none; the run may take {needed} cycles; give at most {MOST_CYCLES}, after "
            "which the series repeats"
        )
    return needed


def found_in_record(packed: Packed, run: Run, angle: float) -> FoundVariation | None:
    """Variation in the cycles that every cylinder has been through at a crank angle (rad); None where none was asked
    for. `packed` is the plain model or the one of the record."""
    variation, layout = run.variation, packed.layout
    if variation is None or layout is None:
        return None
    names = [cylinder.name for cylinder in layout.cylinders]
    relative = relative_series(variation, series_length(packed, run), len(names))
    cycles = whole_cycles(with_shares(packed.model.gas, relative, LEAD), angle, LEAD)
    at = np.arange(cycles)
    pattern = _pattern(packed, run)
    burns = np.ones((1, len(names))) if pattern is None else pattern
    kept = relative[at % len(relative)][burns[at % len(burns)] > 0.0]
    asked = variation.coefficient_of_variation
    if kept.size < 2:
        return FoundVariation(asked, None, None, cycles, variation.seed)
    scatter = variation_scatter(variation, kept.size, 1)
    return FoundVariation(asked, found_variation(kept), scatter, cycles, variation.seed)


def _pattern(packed: Packed, run: Run) -> np.ndarray | None:
    if run.misfire is None or packed.layout is None:
        return None
    return burning_pattern(run.misfire, [cylinder.name for cylinder in packed.layout.cylinders])


def _with(packed: Packed, gas) -> Packed:
    return packed._replace(model=packed.model._replace(gas=gas))
