"""The `[size]` table: which numbers of which mounts may change, what shall become small, what must be kept.

A measure is one number of a set of mounts. As a `[[size.goal]]` it shall be as good as it can, with a `target` whose
probability is told; as a `[[size.limit]]` it must be at `most` or at `least` so much.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, PositiveNumber, Table, Vector

Axis = Literal["x", "y", "z"]
Way = Literal["X", "Y", "Z"]
Direction = Literal["X", "Y", "Z", "roll", "pitch", "yaw"]
Pair = tuple[float, float]
Names = Annotated[tuple[Name, ...], Field(min_length=1)]
Orders = Annotated[tuple[PositiveNumber, ...], Field(min_length=1, max_length=24)]
Speeds = Annotated[Pair | None, u.SPEED, Field(description="from, to")]
Share = Annotated[float, Field(ge=0, lt=1)]
Shift = Annotated[float, Field(ge=-0.9, le=5)]


class Variable(Table):
    """One number that may change, the same in all `mounts` named; range and steps in the unit of the key."""

    mounts: Names
    key: Annotated[Name, Field(description="of the mount, as in the case file, such as stiffness_N_per_mm")]
    axis: Annotated[Axis | None, Field(description="of a key with three entries")] = None
    range: Annotated[Pair | None, Field(description="least, most")] = None
    step: Annotated[float | None, Field(gt=0, description="from the least on")] = None
    catalogue: Annotated[tuple[float, ...] | None, Field(min_length=2, max_length=500)] = None
    mirror: Annotated[
        bool, Field(description="mounts across the middle plane Y = 0 from the first get the mirror image")
    ] = False


class Ratio(Table):
    """What one axis of a key may have over another, in every mount named."""

    mounts: Names
    key: Name = "stiffness"
    over: Axis
    under: Axis
    range: Annotated[Pair, Field(description="least, most")]


class MeasureBase(Table):
    name: Annotated[Name | None, Field(description="for tables; default made of the keys")] = None


class SpeedMeasure(MeasureBase):
    orders: Annotated[Orders | None, Field(description="engine orders; default size.orders")] = None
    speeds: Speeds = None
    over: Annotated[Literal["worst", "mean"], Field(description="speeds: the worst, or the rms of all")] = "worst"


class SensorMeasure(SpeedMeasure):
    """Rms acceleration of a sensor over orders and axes."""

    kind: Literal["sensor"]
    sensor: Name
    contact: Annotated[
        Literal["plain", "seat", "grip"], Field(description="weighted by ISO 2631-1 or ISO 5349-1, or not")
    ] = "plain"
    target: Annotated[float | None, u.ACCELERATION, Field(gt=0)] = None
    most: Annotated[float | None, u.ACCELERATION] = None
    least: Annotated[float | None, u.ACCELERATION] = None


class MountForceMeasure(SpeedMeasure):
    """Rms of the force of a mount over orders and axes, without the mean; of the worst mount if none is named."""

    kind: Literal["mount_force"]
    mount: Name | None = None
    target: Annotated[float | None, u.FORCE, Field(gt=0)] = None
    most: Annotated[float | None, u.FORCE] = None
    least: Annotated[float | None, u.FORCE] = None


class RestMeasure(MeasureBase):
    """At rest under weight and either of: output torque, acceleration of the vehicle, a load case by name."""

    torque: Annotated[float, u.TORQUE, Field(description="at the output")] = 0.0
    acceleration: Annotated[Vector, u.ACCELERATION, Field(description="of the vehicle, on top of the weight")] = (
        0.0,
        0.0,
        0.0,
    )
    load_case: Annotated[Name | None, Field(description="of the case, or of common practice")] = None


class DeflectionMeasure(RestMeasure):
    """How far a mount is deflected from as drawn; the worst of the mounts in the variables if none is named."""

    kind: Literal["deflection"]
    mount: Name | None = None
    along: Way | None = None
    target: Annotated[float | None, u.LENGTH, Field(gt=0)] = None
    most: Annotated[float | None, u.LENGTH] = None
    least: Annotated[float | None, u.LENGTH] = None


class RestForceMeasure(RestMeasure):
    """Force of a mount at rest; the worst of the mounts in the variables if none is named."""

    kind: Literal["rest_force"]
    mount: Name | None = None
    target: Annotated[float | None, u.FORCE, Field(gt=0)] = None
    most: Annotated[float | None, u.FORCE] = None
    least: Annotated[float | None, u.FORCE] = None


class MovementMeasure(RestMeasure):
    """How far a point of a body moves against another body, from where it rests under weight alone or from as drawn."""

    kind: Literal["movement"]
    body: Name
    at: Annotated[Vector, u.LENGTH]
    against: Annotated[Name, Field(description="body, or ground")] = "ground"
    measured_from: Literal["weight", "drawn"] = "weight"
    along: Way | None = None
    target: Annotated[float | None, u.LENGTH, Field(gt=0)] = None
    most: Annotated[float | None, u.LENGTH] = None
    least: Annotated[float | None, u.LENGTH] = None


class ClearanceMeasure(RestMeasure):
    """The least room left at a `[[point]]` of the case."""

    kind: Literal["clearance"]
    point: Name
    target: Annotated[float | None, u.LENGTH, Field(gt=0)] = None
    most: Annotated[float | None, u.LENGTH] = None
    least: Annotated[float | None, u.LENGTH] = None


class ModeMeasure(MeasureBase):
    """Of the undamped modes about rest under weight, the crank locked, as in `vibsim modes`."""

    body: Name | None = None


class DecouplingMeasure(ModeMeasure):
    """The least, over six modes of a body, of the greatest share of kinetic energy in one direction of it."""

    kind: Literal["decoupling"]
    target: Annotated[float | None, Field(gt=0, lt=1)] = None
    most: Annotated[float | None, Field(gt=0, lt=1)] = None
    least: Annotated[float | None, Field(gt=0, lt=1)] = None


class ModeFrequencyMeasure(ModeMeasure):
    """Frequency of the mode with most energy in one direction of a body."""

    kind: Literal["mode_frequency"]
    direction: Direction
    target: Annotated[float | None, u.FREQUENCY, Field(gt=0)] = None
    most: Annotated[float | None, u.FREQUENCY] = None
    least: Annotated[float | None, u.FREQUENCY] = None


class OrderGapMeasure(ModeMeasure):
    """How far the mode with most energy in one direction of a body lies below an engine order at a speed."""

    kind: Literal["order_gap"]
    direction: Direction
    order: PositiveNumber
    speed: Annotated[float, u.SPEED, Field(gt=0, description="such as idle")]
    target: Annotated[float | None, u.FREQUENCY, Field(gt=0)] = None
    most: Annotated[float | None, u.FREQUENCY] = None
    least: Annotated[float | None, u.FREQUENCY] = None


class SeparationMeasure(ModeMeasure):
    """The least difference of frequency between two of the six modes of a body."""

    kind: Literal["separation"]
    target: Annotated[float | None, u.FREQUENCY, Field(gt=0)] = None
    most: Annotated[float | None, u.FREQUENCY] = None
    least: Annotated[float | None, u.FREQUENCY] = None


Measure = Annotated[
    SensorMeasure
    | MountForceMeasure
    | DeflectionMeasure
    | RestForceMeasure
    | MovementMeasure
    | ClearanceMeasure
    | DecouplingMeasure
    | ModeFrequencyMeasure
    | OrderGapMeasure
    | SeparationMeasure,
    Field(discriminator="kind"),
]


class Scatter(Table):
    """How far mounts as built and aged lie from their drawing: half-widths, evenly spread, each mount on its own; age
    and temperature the same for all mounts of one vehicle."""

    rate: Annotated[Share, Field(description="of stiffness")] = 0.15
    damping: Annotated[Share, Field(description="of damping")] = 0.3
    position: Annotated[float, u.LENGTH, Field(ge=0, le=0.1, description="along each axis")] = 0.001
    ageing: Annotated[tuple[Shift, Shift], Field(description="of stiffness: least, most over the life")] = (0.0, 0.15)
    temperature: Annotated[tuple[Shift, Shift], Field(description="of stiffness: hottest, coldest")] = (-0.1, 0.2)
    samples: Annotated[int, Field(ge=100, le=100_000)] = 2000
    seed: Annotated[int, Field(ge=0)] = 1


class Size(Table):
    """What `vibsim size` may change and what for."""

    variable: Annotated[tuple[Variable, ...], Field(min_length=1, max_length=60)]
    ratio: tuple[Ratio, ...] = ()
    goal: Annotated[tuple[Measure, ...], Field(min_length=1, max_length=4)]
    limit: tuple[Measure, ...] = ()
    speeds: Speeds = None
    points: Annotated[int, Field(ge=2, le=200, description="speeds from the first to the last")] = 13
    orders: Orders = (0.5, 1.0, 1.5, 2.0)
    load: Annotated[float | None, Field(ge=0, le=1, description="share of full load; default that of the run")] = None
    scatter: Scatter = Scatter()
