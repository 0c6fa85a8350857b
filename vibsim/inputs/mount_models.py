"""`[[mount]]` as pydantic models, in SI units: one class per law, chosen by its word."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import FileName, Name, NonNegative, PositiveNumber, Rate, Table, Vector

Stiffness = Annotated[tuple[Rate, Rate, Rate], u.STIFFNESS]
Damping = Annotated[tuple[NonNegative, NonNegative, NonNegative], u.DAMPING]
Pair = tuple[float, float]
Gap = Annotated[Pair | None, u.LENGTH, Field(description="deflections where the stops towards minus and plus begin")]
StopRates = Annotated[tuple[Rate, Rate] | None, u.STIFFNESS, Field(description="of the stops towards minus and plus")]
Onset = Annotated[float, u.LENGTH, Field(gt=0, le=0.1, description="over which a stop gains its whole stiffness")]
ONSET = 1e-3
MOST_ELEMENTS = 8


class MountBase(Table):
    """What every mount law needs; a law adds its own keys in a subclass with its `law` word."""

    name: Name
    between: tuple[Name, Name]
    at: Annotated[Vector, u.LENGTH]

    def greatest_rates(self) -> tuple[float, float]:
        """The largest stiffness (N/m) and viscous damping rate (N s/m), for messages."""
        raise NotImplementedError


class OrientedMount(MountBase):
    """A mount with three axes of its own, which turn with its first body; cross-coupling and torsion if given."""

    axes: Annotated[Vector, u.ANGLE, Field(description="turns about fixed X, then Y, then Z")] = (0.0, 0.0, 0.0)
    cross_stiffness: Annotated[
        Vector, u.STIFFNESS, Field(description="entries xy, xz, yz of the stiffness matrix in the mount's axes")
    ] = (0.0, 0.0, 0.0)
    torsional_stiffness: Annotated[
        tuple[Rate, Rate, Rate], u.TORSIONAL_STIFFNESS, Field(description="about the mount's axes, small turns")
    ] = (0.0, 0.0, 0.0)
    torsional_damping: Annotated[tuple[NonNegative, NonNegative, NonNegative], u.TORSIONAL_DAMPING] = (0.0, 0.0, 0.0)


class ThreeAxisMount(OrientedMount):
    """Stiffness and viscous damping along each of the mount's axes."""

    stiffness: Stiffness
    damping: Damping = (0.0, 0.0, 0.0)

    def greatest_rates(self) -> tuple[float, float]:
        return max(self.stiffness), max(self.damping)


class LinearMount(ThreeAxisMount):
    law: Literal["linear"] = "linear"


class ProgressiveMount(ThreeAxisMount):
    """Stiffness rises with deflection: k·(1 + (d/doubling_deflection)²) along each axis."""

    law: Literal["progressive"]
    doubling_deflection: Annotated[
        tuple[PositiveNumber, PositiveNumber, PositiveNumber],
        u.LENGTH,
        Field(description="deflection at which the stiffness has doubled"),
    ]


class LossFactorMount(ThreeAxisMount):
    """Hysteretic rubber: k·(1 + i·loss_factor) over a band of frequency, as a relaxation chain fitted over it.

    The stiffness is that at the middle of the band (its geometric mean); what is causal must stiffen with frequency.
    """

    law: Literal["loss_factor"]
    loss_factor: Annotated[float, Field(ge=0, le=1, description="tangent of the loss angle")]
    band: Annotated[Pair, u.FREQUENCY, Field(description="of the fit")] = (5.0, 200.0)
    elements: Annotated[int, Field(ge=1, le=MOST_ELEMENTS, description="of the relaxation chain")] = 3


class BumpStopMount(ThreeAxisMount):
    """Linear until a stop, whose stiffness comes on smoothly over `onset`."""

    law: Literal["bump_stop"]
    gap_x: Gap = None
    gap_y: Gap = None
    gap_z: Gap = None
    stop_stiffness_x: StopRates = None
    stop_stiffness_y: StopRates = None
    stop_stiffness_z: StopRates = None
    onset: Onset = ONSET


class RelaxationMount(ThreeAxisMount):
    """Generalised Maxwell: `stiffness` is the long-term one; spring n of the chain is ratio n times that, on each
    axis, in series with a damper that relaxes it in time n. One pair is the Zener model."""

    law: Literal["relaxation"]
    relaxation_ratio: Annotated[tuple[NonNegative, ...], Field(min_length=1, max_length=MOST_ELEMENTS)]
    relaxation_time: Annotated[tuple[PositiveNumber, ...], u.TIME, Field(min_length=1, max_length=MOST_ELEMENTS)]


class FrictionMount(ThreeAxisMount):
    """Rubber whose stiffness falls with amplitude: on each axis a Bouc–Wen element beside spring and damper. It starts
    at friction_stiffness and yields at yield_deflection, with a force of at most their product."""

    law: Literal["friction"]
    friction_stiffness: Stiffness
    yield_deflection: Annotated[tuple[PositiveNumber, PositiveNumber, PositiveNumber], u.LENGTH]
    exponent: Annotated[float, Field(ge=1, le=10, description="how sharp it yields")] = 1.0


class HydraulicMount(ThreeAxisMount):
    """Rubber spring with fluid pumped along the mount's z between two chambers, through an inertia track and past a
    decoupler, a plate that floats between two seats."""

    law: Literal["hydraulic"]
    piston_area: Annotated[float, u.AREA, Field(gt=0, le=1, description="volume pumped per deflection along z")]
    upper_compliance: Annotated[float, u.VOLUME_PER_PRESSURE, Field(gt=0, description="of the pumping chamber")]
    lower_compliance: Annotated[float, u.VOLUME_PER_PRESSURE, Field(gt=0, description="of the other chamber")]
    track_inertance: Annotated[float | None, u.INERTANCE, Field(gt=0, description="density times length over area")] = (
        None
    )
    track_length: Annotated[float | None, u.LENGTH, Field(gt=0, le=5)] = None
    track_area: Annotated[float | None, u.AREA, Field(gt=0, le=0.1)] = None
    fluid_density: Annotated[float | None, u.DENSITY, Field(gt=0, le=2e4)] = None
    track_resistance: Annotated[float, u.FLOW_RESISTANCE, Field(ge=0, description="pressure per flow")]
    track_quadratic_resistance: Annotated[float, u.FLOW_RESISTANCE2, Field(ge=0)] = 0.0
    decoupler_area: Annotated[float | None, u.AREA, Field(gt=0, le=1)] = None
    decoupler_travel: Annotated[
        float | None, u.LENGTH, Field(gt=0, le=0.1, description="free travel of the plate, from seat to seat")
    ] = None
    decoupler_resistance: Annotated[float | None, u.FLOW_RESISTANCE, Field(gt=0, description="of the flow past it")] = (
        None
    )

    def inertance(self) -> float:
        """Of the fluid in the track, kg/m⁴: ρ·l/A (derived: a plug of fluid pushed by a pressure) unless given."""
        if self.track_inertance is not None:
            return self.track_inertance
        assert self.fluid_density is not None and self.track_length is not None and self.track_area is not None
        return self.fluid_density * self.track_length / self.track_area


class TableMount(ThreeAxisMount):
    """Measured force against deflection on the axes that the file has columns for; the others take `stiffness`."""

    law: Literal["table"]
    file: FileName
    stiffness: Stiffness = (0.0, 0.0, 0.0)


class ScheduledMount(OrientedMount):
    """Switchable: stiffness and damping follow the crank speed by a table, held beyond its ends."""

    law: Literal["scheduled"]
    speed: Annotated[tuple[NonNegative, ...], u.SPEED, Field(min_length=2, max_length=50)]
    stiffness_at_speed: Annotated[
        tuple[tuple[Rate, Rate, Rate], ...], u.STIFFNESS, Field(min_length=2, description="one row per speed")
    ]
    damping_at_speed: Annotated[
        tuple[tuple[NonNegative, NonNegative, NonNegative], ...] | None,
        u.DAMPING,
        Field(description="one row per speed"),
    ] = None

    def greatest_rates(self) -> tuple[float, float]:
        damping = self.damping_at_speed or ((0.0,),)
        return max(max(row) for row in self.stiffness_at_speed), max(max(row) for row in damping)


class TorqueRodMount(MountBase):
    """A rod with a bushing at either end: it pulls and pushes along its own line, which turns with its two points, and
    does nothing else. `at` is its point on the first body, `to` that on the second."""

    law: Literal["torque_rod"]
    to: Annotated[Vector, u.LENGTH, Field(description="its point on the second body")]
    bushing_stiffness: Annotated[
        tuple[PositiveNumber, PositiveNumber], u.STIFFNESS, Field(description="along the rod, of the two bushings")
    ]
    rod_damping: Annotated[float, u.DAMPING, Field(ge=0, description="along the rod, of both bushings together")] = 0.0
    gap: Gap = None
    stop_stiffness: StopRates = None
    onset: Onset = ONSET

    def rod_stiffness(self) -> float:
        """Of the two bushings in series, N/m."""
        first, second = self.bushing_stiffness
        return first * second / (first + second)

    def greatest_rates(self) -> tuple[float, float]:
        return self.rod_stiffness(), self.rod_damping


Mount = Annotated[
    LinearMount
    | ProgressiveMount
    | LossFactorMount
    | BumpStopMount
    | RelaxationMount
    | FrictionMount
    | HydraulicMount
    | TableMount
    | ScheduledMount
    | TorqueRodMount,
    Field(discriminator="law"),
]
MOUNT_MODELS: dict[str, type[Table]] = {
    get_args(model.model_fields["law"].annotation)[0]: model for model in get_args(get_args(Mount)[0])
}
# more than a force of deflection and its rate: their stiffness depends on frequency, or on amplitude
WITH_STATES = (LossFactorMount, RelaxationMount, FrictionMount, HydraulicMount)
