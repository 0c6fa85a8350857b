"""Keys of the road that a vehicle on wheels drives over: a bump, a step, roughness by class, or a measured profile."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import FileName, Table

RoadClass = Literal["A", "B", "C", "D", "E", "F", "G", "H"]
LEAST_CYCLES, MOST_CYCLES = 0.011, 2.83  # cycle/m, the range of ISO 8608; from memory
Place = Annotated[
    float, u.METRES, Field(ge=0, le=1e6, description="where it begins, ahead of the foremost wheel at time 0")
]


class Bump(Table):
    """Half a sine wave across the road."""

    profile: Literal["bump"]
    height: Annotated[float, u.LENGTH, Field(ge=-1, le=1, description="of its middle; a hollow is negative")]
    length: Annotated[float, u.METRES, Field(gt=0, le=1000, description="along the road")]
    at: Place = 1.0


class RoadStep(Table):
    """A step across the road, up or down."""

    profile: Literal["step"]
    height: Annotated[float, u.LENGTH, Field(ge=-1, le=1, description="of what lies behind it")]
    at: Place = 1.0


class RoughRoad(Table):
    """Random roughness after ISO 8608, at the geometric mean of its class."""

    profile: Literal["iso_8608"]
    road_class: Annotated[RoadClass, Field(description="at its geometric mean: 16e-6 m³ at 0.1 cycle/m of A, then ×4")]
    seed: Annotated[int, Field(ge=0, description="the same seed, the same road")] = 1
    waviness: Annotated[float, Field(gt=1, le=4, description="exponent by which roughness falls with wave number")] = (
        2.0
    )
    longest_wave: Annotated[float, u.METRES, Field(gt=0, le=1e4)] = 1.0 / LEAST_CYCLES
    shortest_wave: Annotated[float, u.METRES, Field(gt=0.01, le=1e4)] = 1.0 / MOST_CYCLES
    tracks: Annotated[
        Literal["isotropic", "alike", "independent"],
        Field(description="wheels side by side: as on a road as rough across as along, on the same profile, or not"),
    ] = "isotropic"
    run_in: Annotated[
        float, u.TIME, Field(ge=0.1, le=600, description="on the road before the record, which fades in from flat")
    ] = 2.0


class RoadFile(Table):
    """Heights from a CSV file, straight lines between its points."""

    profile: Literal["file"]
    file: Annotated[
        FileName,
        Field(description="CSV with distance_<unit> and height_<unit>, or left_height_<unit> and right_height_<unit>"),
    ]


Road = Annotated[Bump | RoadStep | RoughRoad | RoadFile, Field(discriminator="profile")]
