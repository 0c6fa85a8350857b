"""Keys of what a vehicle stands on and carries: wheels with suspension and tyre, anti-roll bars, seated people."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, Rate, Table, Vector

Stiffness = Annotated[float, u.STIFFNESS, Field(gt=0, le=1e9)]
NoStiffness = Annotated[float, u.STIFFNESS, Field(ge=0, le=1e9)]
NoDamping = Annotated[Rate, u.DAMPING]
SEATED_SHARE = 0.73  # of a person's mass that the seat carries, feet on a rest; from memory


class Wheel(Table):
    """A wheel that moves up and down against the body it carries. Spring and tyre are unloaded as drawn, save for
    `suspension_preload`; the tyre's foot as drawn is under the wheel's centre by its radius, and there is the road."""

    name: Name
    body: Annotated[Name, Field(description="the body it carries")]
    at: Annotated[Vector, u.LENGTH, Field(description="centre of the wheel")]
    radius: Annotated[float, u.LENGTH, Field(gt=0, le=3)]
    contact_length: Annotated[
        float | None,
        u.LENGTH,
        Field(gt=1e-3, le=2, description="of tyre on road; default the chord of its circle, pressed in as at rest"),
    ] = None
    unsprung_mass: Annotated[float, u.MASS, Field(gt=0, description="what moves with the wheel")]
    suspension_stiffness: Annotated[Stiffness, Field(description="vertical, at the wheel")]
    suspension_preload: Annotated[float, u.FORCE, Field(ge=0, description="of the spring as drawn, at the wheel")] = 0.0
    bump_damping: Annotated[NoDamping, Field(description="wheel rising against the body")] = 0.0
    rebound_damping: Annotated[NoDamping, Field(description="wheel dropping")] = 0.0
    bump_stop_gap: Annotated[float | None, u.LENGTH, Field(ge=0, description="rise of the wheel from as drawn")] = None
    bump_stop_stiffness: Annotated[float | None, u.STIFFNESS, Field(gt=0, le=1e9)] = None
    rebound_stop_gap: Annotated[float | None, u.LENGTH, Field(ge=0, description="drop of the wheel from as drawn")] = (
        None
    )
    rebound_stop_stiffness: Annotated[float | None, u.STIFFNESS, Field(gt=0, le=1e9)] = None
    tyre_stiffness: Annotated[Stiffness, Field(description="vertical")]
    tyre_damping: Annotated[NoDamping, Field(description="vertical")] = 0.0
    tyre_lateral_stiffness: NoStiffness = 0.0
    tyre_lateral_damping: NoDamping = 0.0
    tyre_longitudinal_stiffness: Annotated[
        NoStiffness, Field(description="0 of a wheel that rolls freely; of a driven or braked one, its tyre's")
    ] = 0.0
    tyre_longitudinal_damping: NoDamping = 0.0


class AntiRollBar(Table):
    name: Name
    between: Annotated[tuple[Name, Name], Field(description="two wheels")]
    stiffness: Annotated[Stiffness, Field(description="force at each wheel per difference of their travels")]


class Occupant(Table):
    """A seated person who moves up and down on a seat: cushion, frame, two bodies on springs in it."""

    name: Name
    body: Annotated[Name, Field(description="that carries the seat")]
    at: Annotated[Vector, u.LENGTH, Field(description="point of the seat")]
    mass: Annotated[float, u.MASS, Field(gt=0, le=500, description="of the whole person")]
    model: Literal["seated"] = "seated"
    seated_share: Annotated[
        float, Field(gt=0, le=1, description="of the mass on the seat; the rest, on feet and hands, is rigid there")
    ] = SEATED_SHARE
    cushion_stiffness: Stiffness
    cushion_damping: NoDamping = 0.0
