"""Tables of the case file for the elastic modes of a body."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import FileName, Name, Table

DampingRatio = Annotated[float, Field(ge=0, lt=1, description="share of critical")]


class ElasticMode(Table):
    """One free-free elastic mode of a body. Its shape is per unit of the modal coordinate, in vehicle axes as drawn."""

    frequency: Annotated[float, u.FREQUENCY, Field(gt=0, description="natural, of the free body")]
    damping_ratio: DampingRatio
    modal_mass: Annotated[float, u.MASS, Field(gt=0, description="1: shapes are mass-normalised")] = 1.0
    shape: Annotated[
        dict[Name, tuple[float, ...]],
        Field(description="[x, y, z] at each mount and sensor of the body, by its name"),
    ]


class ElasticModes(Table):
    """Elastic modes of a body from a file: a table of modes, or measured frequency responses (UFF, dataset 58)."""

    file: Annotated[
        FileName | None,
        Field(description="CSV: mode, frequency_Hz, damping_ratio, modal_mass_kg, point, x, y, z"),
    ] = None
    frf_file: Annotated[FileName | None, Field(description="UFF with dataset 58, responses to a force")] = None
    node: dict[Name, int] = Field(default_factory=dict, description="in frf_file, of each mount and sensor by name")
    lowest_frequency: Annotated[float | None, u.FREQUENCY, Field(gt=0, description="of frf_file to fit from")] = None
    highest_frequency: Annotated[float | None, u.FREQUENCY, Field(gt=0, description="modes above it are left out")] = (
        None
    )
