"""Keys of what turns the crank over and of what holds its idle speed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Table


class StarterTable(Table):
    """A direct-current motor with permanent magnets on a battery, geared to the crank by a clutch that overruns."""

    stall_torque: Annotated[float, u.TORQUE, Field(gt=0, description="of the motor's shaft at rest, on this battery")]
    no_load_speed: Annotated[float, u.SPEED, Field(gt=0, description="of the motor's shaft without torque")]
    ratio: Annotated[float, Field(gt=0, le=200, description="turns of the motor per turn of the crank")]
    battery_voltage: Annotated[float, u.VOLTAGE, Field(gt=0, le=1000, description="without current")] = 12.6
    battery_resistance: Annotated[
        float, u.RESISTANCE, Field(ge=0, description="inside the battery, with its leads; common practice, no source")
    ] = 0.01


class GovernorBase(Table):
    speed: Annotated[float, u.SPEED, Field(gt=0, description="idle speed that it holds")]
    response: Annotated[float, u.TIME, Field(gt=0, le=10, description="in which the actuator goes 63 % of its way")] = (
        0.05
    )


class ThrottleGovernor(GovernorBase):
    """Opens the throttle by shares of its way for the speed that is missing, and for its integral over time."""

    acts_on: Literal["throttle"] = "throttle"
    proportional: Annotated[float, u.SHARE_PER_SPEED, Field(ge=0)]
    integral: Annotated[float, u.SHARE_PER_TURNING, Field(ge=0)]
    greatest_opening: Annotated[float, Field(gt=0, le=1, description="of the throttle, 1 wide open")] = 0.3


class TorqueGovernor(GovernorBase):
    """Drives the crank by a torque for the speed that is missing, where the gas knows no throttle."""

    acts_on: Literal["torque"]
    proportional: Annotated[float, u.TORQUE_PER_SPEED, Field(ge=0)]
    integral: Annotated[float, u.TORQUE_PER_TURNING, Field(ge=0)]
    greatest_torque: Annotated[float, u.TORQUE, Field(gt=0, description="either way")]


Governor = Annotated[ThrottleGovernor | TorqueGovernor, Field(discriminator="acts_on")]
