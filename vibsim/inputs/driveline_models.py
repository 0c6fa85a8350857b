"""Tables of the case file for how the engine's torque leaves its body: by a chain, or through a differential."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, Table, Vector

Ratio = Annotated[
    float | None, Field(gt=0, description="crank turns per turn at the gearbox's output; default of [driveline]'s gear")
]
Radius = Annotated[float, u.LENGTH, Field(gt=0, le=2)]
FORWARD: Vector = (0.0, 1.0, 0.0)


class Chain(Table):
    """Chain or belt from a sprocket on the engine's body to one on another body; its tight run pulls both."""

    body: Annotated[Name, Field(description="that carries the driven sprocket")]
    sprocket: Annotated[Vector, u.LENGTH, Field(description="its centre, on the engine's body")]
    driven_sprocket: Annotated[Vector, u.LENGTH, Field(description="its centre")]
    sprocket_radius: Radius
    driven_sprocket_radius: Radius
    ratio: Ratio = None
    direction: Annotated[Vector, Field(description="that the sprocket turns about, driving; Y rolls forward")] = FORWARD
    wheel_torque_reacted_by: Annotated[
        Name, Field(description="ground, where the wheel takes the torque of the driven sprocket; or a body that does")
    ] = "ground"


class Differential(Table):
    """Propeller shaft and differential, or a differential in the engine's own body."""

    body: Annotated[Name, Field(description="that carries it")]
    ratio: Ratio = None
    final_drive_ratio: Annotated[
        float | None, Field(gt=0, description="propeller shaft turns per axle turn; default [driveline]'s")
    ] = None
    propshaft_direction: Annotated[
        Vector | None, Field(description="that the shaft turns about, driving; default the crank's")
    ] = None
    axle_direction: Annotated[Vector, Field(description="that the axle turns about, driving")] = FORWARD
    axle_torque_reacted_by: Annotated[
        Name, Field(description="ground, where the wheels take the axle's torque; or a body that does")
    ] = "ground"
