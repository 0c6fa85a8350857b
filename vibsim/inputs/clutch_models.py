"""Keys of a clutch that closes in a run."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, Table


class ClutchRun(Table):
    """A dry clutch in series with a shaft: open as the run begins, it bites at run.step_at."""

    shaft: Annotated[Name, Field(description="that it sits in, as its disc's damper")]
    capacity: Annotated[float, u.TORQUE, Field(gt=0, description="that it holds when closed, either way")]
    duration: Annotated[float, u.TIME, Field(ge=0, le=60, description="in which it closes; 0 at once")] = 0.2
    driven_speed: Annotated[
        float, u.SPEED, Field(description="as crank speed, of what lies behind it as the run begins; 0 standing")
    ] = 0.0
