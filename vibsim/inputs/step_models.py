"""Keys of runs in which the crank goes from one speed to another, alone or as steps of a programme."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.road_models import Road
from vibsim.inputs.table import Table


class StepKeys(Table):
    """What a run of one of these kinds and a step of a programme have in common."""

    speed_to: Annotated[float | None, u.SPEED, Field(ge=0, description="where a run-up or coast-down ends")] = None
    rate: Annotated[
        float | None, u.SPEED_RATE, Field(gt=0, description="at which the crank goes there, its speed prescribed")
    ] = None
    speed_is: Annotated[
        Literal["prescribed", "free"] | None,
        Field(description="prescribed: met exactly at every moment; default: prescribed where a rate is given"),
    ] = None
    driven_inertia: Annotated[
        float, u.INERTIA, Field(ge=0, description="that the output turns, felt at the crank; of a free crank")
    ] = 0.0
    fuel_cut: Annotated[bool, Field(description="of a run-up or coast-down: nothing burns")] = False
    fires_after_turns: Annotated[
        float, Field(ge=0, le=1000, description="of the crank in a start, until the first cylinder may fire")
    ] = 2.0
    crank_angle: Annotated[
        float | None,
        u.ANGLE,
        Field(ge=0, description="at which the crank rests before a start; default where the gas balances itself"),
    ] = None


class Step(StepKeys):
    """One step of a programme; it begins where the one before ends."""

    kind: Literal["start", "idle", "run_up", "coast_down", "road", "stop"]
    load: Annotated[
        float | None, Field(ge=0, le=1, description="share of full load of a run-up, coast-down or road")
    ] = None
    duration: Annotated[
        float | None, u.TIME, Field(gt=0, le=3600, description="of the step; at a rate as long as that takes")
    ] = None
    vehicle_speed: Annotated[float | None, u.VELOCITY, Field(gt=0, le=200, description="over a road")] = None
    road: Annotated[Road | None, Field(description="driven over; level before and after")] = None
