"""Keys of what reads the crank's speed."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Table


class ToothWheel(Table):
    """A toothed wheel on the crank and a timer that stamps every tooth's edge as it passes."""

    teeth: Annotated[int, Field(ge=8, le=2000, description="places for teeth around, missing ones counted")]
    missing: Annotated[int, Field(ge=0, le=4, description="teeth left out before the first")] = 0
    clock: Annotated[float, u.FREQUENCY, Field(gt=0, description="ticks of the timer per second")] = 1e6
    first_edge: Annotated[float, u.ANGLE, Field(description="crank angle of the first tooth's edge")] = 0.0
