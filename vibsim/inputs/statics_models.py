"""Tables of the case file for statics: the driveline behind the engine, points with clearances, strength load cases."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, NonNegative, PositiveNumber, Table, Vector

Gear = int | Name  # a number from 1, "neutral" or "reverse"
SixWays = tuple[NonNegative, NonNegative, NonNegative, NonNegative, NonNegative, NonNegative]


class Grip(Table):
    """What the driven tyres can hold: torque at the wheels = friction coefficient × axle load × radius."""

    friction_coefficient: Annotated[float, Field(gt=0, le=5)]
    axle_load: Annotated[float, u.MASS, Field(gt=0, description="on the driven axle")]
    wheel_radius: Annotated[float, u.LENGTH, Field(gt=0, le=5)]


class Driveline(Table):
    """Gearbox and final drive. The body named in `engine.load.reacted_by` takes what leaves the engine's body."""

    gear_ratios: Annotated[
        tuple[PositiveNumber, ...], Field(min_length=1, max_length=40, description="first gear first")
    ]
    reverse_ratio: Annotated[float | None, Field(gt=0, description="without a sign")] = None
    final_drive_ratio: PositiveNumber = 1.0
    gearbox_efficiency: Annotated[float, Field(gt=0, le=1)] = 1.0
    final_drive_efficiency: Annotated[float, Field(gt=0, le=1)] = 1.0
    leaves_at: Annotated[
        Literal["crank", "gearbox", "final_drive"],
        Field(description="last of crank, gearbox, final drive that the engine's body carries"),
    ] = "final_drive"
    output_direction: Annotated[
        Vector | None,
        Field(description="of the torque that leaves in forward gear; default Y for wheels, the crank's otherwise"),
    ] = None
    engine_torque: Annotated[
        float | None, u.TORQUE, Field(gt=0, description="full load; default computed at the run's speed")
    ] = None
    grip: Grip | None = None


class Point(Table):
    """A point of a body whose movement matters, and the room it has."""

    name: Name
    body: Name
    at: Annotated[Vector, u.LENGTH]
    relative_to: Annotated[
        Name | None, Field(description="body, or ground; default the other end of its body's first mount")
    ] = None
    clearance: Annotated[float | None, u.LENGTH, Field(ge=0, description="in any direction")] = None
    clearance_each_way: Annotated[
        SixWays | None, u.LENGTH, Field(description="towards +X, -X, +Y, -Y, +Z, -Z of the other body")
    ] = None


class LoadCase(Table):
    """One strength load case: the vehicle's acceleration, and the engine's torque in a gear. Weight acts besides."""

    name: Name
    acceleration: Annotated[Vector, u.ACCELERATION, Field(description="of the vehicle along X, Y, Z")] = (0.0, 0.0, 0.0)
    gear: Gear = "neutral"
    torque_share: Annotated[float, Field(ge=-5, le=5, description="of full engine torque; negative: overrun")] = 0.0
