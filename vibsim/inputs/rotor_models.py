"""Tables of the case file for torsion: the crank's throws, rotors driven by it, and the shafts between them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, Table, Vector

CRANK, NOSE, FLYWHEEL = "crank", "nose", "flywheel"  # parts of the crank, all one where it does not twist
CRANK_PARTS = (CRANK, NOSE, FLYWHEEL)
MOST_ROTORS = 64

Stiffness = Annotated[float, Field(gt=0, le=1e12)]
Rate = Annotated[float, Field(ge=0, le=1e12)]


class CrankTorsion(Table):
    """A crank whose throws twist against each other; what is left of `engine.crank.inertia` is the flywheel end's."""

    throw_inertia: Annotated[
        tuple[Annotated[float, Field(gt=0)], ...] | Annotated[float, Field(gt=0)],
        u.INERTIA,
        Field(description="about the crank axis, one or per throw, rods and pistons not in it"),
    ]
    nose_inertia: Annotated[
        float | None, u.INERTIA, Field(gt=0, description="free end with its hub; the first throw's if left out")
    ] = None
    stiffness: Annotated[
        tuple[Stiffness, ...],
        u.TORSIONAL_STIFFNESS,
        Field(min_length=1, description="nose to its throw (with a nose), throw to throw, last throw to flywheel"),
    ]
    damping: Annotated[
        tuple[Rate, ...] | Rate, u.TORSIONAL_DAMPING, Field(description="of each of these shafts, one or as many")
    ] = 0.0
    flywheel_end: Annotated[
        Literal["last", "first"], Field(description="throw beside the flywheel, counted along crank_direction")
    ] = "last"


class Rotor(Table):
    """An inertia driven by the crank; of a vehicle its mass at the wheel's radius."""

    name: Name
    inertia: Annotated[float, u.INERTIA, Field(ge=0, description="about its axis")] = 0.0
    vehicle_mass: Annotated[
        float, u.MASS, Field(ge=0, description="driven along by this rotor, as inertia at rolling_radius")
    ] = 0.0
    rolling_radius: Annotated[float | None, u.LENGTH, Field(gt=0, le=5)] = None
    ratio: Annotated[float, Field(ge=-50, le=50, description="turns per crank turn, negative turns backwards")] = 1.0
    body: Annotated[
        Name | None,
        Field(
            description="carries its bearings; default the engine's; ground where it shakes nothing that is modelled"
        ),
    ] = None
    axis_direction: Annotated[
        Vector | None, Field(description="it turns right-handed about, vehicle axes; default the crank's")
    ] = None


class Shaft(Table):
    """Spring and damper between two rotors, turning with the first; where their ratios differ a gear at its second end,
    carried by the second's body, takes the difference of torque."""

    name: Name | None = None
    between: tuple[Name, Name]
    stiffness: Annotated[
        float | None, u.TORSIONAL_STIFFNESS, Field(ge=0, le=1e12, description="0 where a damper alone joins them")
    ] = None
    damping: Annotated[float, u.TORSIONAL_DAMPING, Field(ge=0, le=1e12)] = 0.0
    loss_factor: Annotated[
        float, Field(ge=0, le=3, description="of rubber; a run takes the damper that loses as much at loss_frequency")
    ] = 0.0
    loss_frequency: Annotated[
        float | None, u.FREQUENCY, Field(gt=0, description="default that of the mode that strains it most")
    ] = None
    stage_twist: Annotated[
        tuple[float, ...] | None,
        u.ANGLE,
        Field(min_length=2, description="ends of a clutch damper's stages, rising; from 0 on the same both ways"),
    ] = None
    stage_torque: Annotated[
        tuple[float, ...] | None, u.TORQUE, Field(min_length=2, description="at each of these twists")
    ] = None
    lash: Annotated[float, u.ANGLE, Field(ge=0, le=3.2, description="free twist, from one side to the other")] = 0.0
    friction: Annotated[float, u.TORQUE, Field(ge=0, description="dry, against the rate of twist")] = 0.0

    @property
    def label(self) -> str:
        return self.name or f"{self.between[0]} to {self.between[1]}"
