"""The case file as pydantic models, in SI units. Keys with a unit suffix are converted in `loader`.

A field annotated with a `Unit` is written in the file as `name_<unit>`; every other field by its name.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.charging_models import Charging, NoCharging
from vibsim.inputs.clutch_models import ClutchRun
from vibsim.inputs.driveline_models import Chain, Differential
from vibsim.inputs.exposure_models import Contact, Duty, Posture
from vibsim.inputs.flexible_models import ElasticMode, ElasticModes
from vibsim.inputs.friction_models import Accessory, Friction, SimpleFriction
from vibsim.inputs.mount_models import Mount
from vibsim.inputs.road_models import Road
from vibsim.inputs.rotor_models import CrankTorsion, Rotor, Shaft
from vibsim.inputs.sizing_models import Size
from vibsim.inputs.speed_models import ToothWheel
from vibsim.inputs.starting_models import Governor, StarterTable
from vibsim.inputs.statics_models import Driveline, Gear, LoadCase, Point
from vibsim.inputs.step_models import Step, StepKeys
from vibsim.inputs.table import FileName, Name, Table, Vector
from vibsim.inputs.variation_models import Misfire, Variation
from vibsim.inputs.vehicle_models import AntiRollBar, Occupant, Wheel


class CaseInfo(Table):
    title: str = ""
    notes: str = ""


class Piston(Table):
    mass: Annotated[float, u.SMALL_MASS, Field(ge=0, description="piston with pin and rings")]


class Rod(Table):
    mass: Annotated[float, u.SMALL_MASS, Field(ge=0)]
    centre_of_mass: Annotated[float, u.LENGTH, Field(ge=0, description="from the big end")] = 0.0
    inertia: Annotated[float, u.SMALL_INERTIA, Field(ge=0, description="about its centre of mass, transverse")] = 0.0


class Counterweight(Table):
    at: Annotated[float, u.LENGTH, Field(description="position along the crank")] = 0.0
    angle: Annotated[float, u.ANGLE, Field(description="measured like a pin angle")]
    unbalance: Annotated[float, u.UNBALANCE, Field(ge=0)]


class Crank(Table):
    inertia: Annotated[
        float, u.INERTIA, Field(gt=0, description="about its axis, flywheel and counterweights in it, rods not")
    ]
    unbalance: Annotated[
        float | tuple[float, ...] | None, u.UNBALANCE, Field(description="opposite each throw's pin, one or per throw")
    ] = None
    counterweight: tuple[Counterweight, ...] = ()
    main_bearings_at: Annotated[
        tuple[float, ...] | None,
        u.LENGTH,
        Field(min_length=2, description="along the crank, one after the other"),
    ] = None
    torsion: CrankTorsion | None = None


class Cylinder(Table):
    name: Name
    bank: Annotated[float, u.ANGLE] = 0.0
    pin: Annotated[float, u.ANGLE]
    at: Annotated[float, u.LENGTH, Field(description="position along the crank")] = 0.0
    piston_pin_offset: Annotated[
        float, u.LENGTH, Field(description="shift of the cylinder axis in the direction of rotation")
    ] = 0.0
    fires_at: Annotated[float | None, u.ANGLE, Field(description="absolute crank angle of firing top dead centre")] = (
        None
    )
    bore: Annotated[float | None, u.LENGTH, Field(gt=0, le=2)] = None
    stroke: Annotated[float | None, u.LENGTH, Field(gt=0, le=5)] = None
    rod_length: Annotated[float | None, u.LENGTH, Field(gt=0, le=20)] = None
    compression_ratio: Annotated[float | None, Field(gt=1, le=40)] = None
    fuelling: Annotated[float, Field(ge=0, le=2, description="times the fuel of the others; 0 misfires")] = 1.0
    burn_shift: Annotated[float, u.ANGLE, Field(description="burn later than in the others")] = 0.0
    piston: Piston | None = None
    rod: Rod | None = None


class BalanceShaft(Table):
    ratio: Annotated[float, Field(ge=-8, le=8, description="turns per crank turn, negative turns backwards")]
    position: Annotated[tuple[float, float], u.LENGTH, Field(description="y and z of its axis in engine axes")] = (
        0.0,
        0.0,
    )
    at: Annotated[float, u.LENGTH, Field(description="position along the crank")] = 0.0
    angle: Annotated[float, u.ANGLE, Field(description="of its eccentric at crank angle zero")]
    unbalance: Annotated[float, u.UNBALANCE, Field(ge=0)]
    inertia: Annotated[float, u.SMALL_INERTIA, Field(ge=0, description="about its axis")] = 0.0


Ambient = Annotated[float, u.PRESSURE, Field(gt=0, description="absolute, under the pistons")]


class NoGas(Table):
    source: Literal["none"] = "none"


class MotoredGas(Table):
    source: Literal["motored"]
    ambient_pressure: Ambient = 101325.0
    intake_pressure: Annotated[float | None, u.PRESSURE, Field(gt=0, description="while the cylinder is open")] = None
    polytropic_exponent: Annotated[float, Field(ge=1, le=1.7)] = 1.32
    closes: Annotated[
        float, u.ANGLE, Field(description="valves shut, from firing top dead centre")
    ] = -2.443460952792061
    opens: Annotated[float, u.ANGLE, Field(description="a valve opens, from firing top dead centre")] = (
        2.443460952792061
    )


LOSS_ANGLE = 0.010471975511965976  # 0.6 deg; common practice, no source
INTAKE_WINDOW = 0.3490658503988659  # 20 deg


class TraceGas(Table):
    """Measured cylinder pressure. Angles are measured from firing top dead centre."""

    source: Literal["trace"]
    ambient_pressure: Ambient = 101325.0
    file: FileName | None = None
    files: dict[str, FileName] = Field(default_factory=dict, description="one file per cylinder name")
    folder: Annotated[
        FileName | None, Field(description="of traces at several speeds and loads, with an index.csv")
    ] = None
    top_dead_centre_offset: Annotated[
        float | None, u.ANGLE, Field(ge=-0.53, le=0.53, description="angle the traces show at top dead centre")
    ] = None
    motored_file: Annotated[FileName | None, Field(description="motored trace that top dead centre is found from")] = (
        None
    )
    loss_angle: Annotated[
        float, u.ANGLE, Field(ge=0, le=0.088, description="of the motored peak before top dead centre")
    ] = LOSS_ANGLE
    smoothing: Literal["none", "savitzky_golay", "low_pass"] = "none"
    smoothing_window: Annotated[float | None, u.ANGLE, Field(gt=0, le=1.06)] = None
    smoothing_cut_off_order: Annotated[float | None, Field(gt=0, description="periods per crank revolution")] = None
    pegging: Literal["none", "intake", "polytropic"] = "none"
    intake_pressure: Annotated[float | None, u.PRESSURE, Field(gt=0, description="in the manifold, absolute")] = None
    intake_window: Annotated[
        float, u.ANGLE, Field(gt=0, le=1.58, description="about bottom dead centre, averaged over")
    ] = INTAKE_WINDOW
    pegging_fit: Literal["least_squares", "two_point"] = "least_squares"
    pegging_exponent: Annotated[float | None, Field(ge=1, le=1.7, description="fitted when left out")] = None
    compression_angles: Annotated[
        tuple[float, float] | None, u.ANGLE, Field(description="valves shut, not yet burning")
    ] = None
    expansion_angles: Annotated[
        tuple[float, float] | None, u.ANGLE, Field(description="burnt out, valves still shut")
    ] = None


class Throttle(Table):
    """Butterfly ahead of the intake valves; with it the intake pressure at either end of `load` is that of the flow."""

    diameter: Annotated[float, u.LENGTH, Field(gt=0, le=1, description="of its bore")]
    count: Annotated[int, Field(ge=1, le=64, description="how many, one for the engine or one per cylinder")] = 1
    closed_angle: Annotated[
        float, u.ANGLE, Field(ge=0, le=0.6, description="of the shut plate, from square to the bore")
    ] = 0.13962634015954636
    discharge_coefficient: Annotated[float, Field(gt=0, le=1)] = 0.8
    leak_area: Annotated[
        float, u.AREA, Field(gt=0, description="effective, of each when shut: what the engine idles on")
    ] = 4.0e-6


class CycleGas(Table):
    """Single-zone working cycle. Angles are measured from firing top dead centre."""

    source: Literal["cycle"]
    fuel: Annotated[Literal["petrol", "ethanol", "diesel"], Field(description="diesel ignites by compression")] = (
        "petrol"
    )
    ethanol_share: Annotated[float, Field(ge=0, le=1, description="of petrol, by volume")] = 0.0
    fuel_cut: Annotated[bool, Field(description="motored: no fuel at all")] = False
    ambient_pressure: Ambient = 101325.0
    intake_temperature: Annotated[float, u.TEMPERATURE, Field(gt=200, lt=600)] = 315.0
    intake_pressure: Annotated[
        float | None, u.PRESSURE, Field(gt=0, le=6e5, description="overrides what load gives")
    ] = None
    closed_throttle_pressure: Annotated[float, u.PRESSURE, Field(gt=0, description="intake pressure at load 0")] = 3.0e4
    throttle: Throttle | None = None
    knock_margin: Annotated[
        float | None,
        Field(ge=-50, le=50, description="octane numbers to keep: the burn is set later until there are as many"),
    ] = None
    exhaust_pressure: Annotated[float, u.PRESSURE, Field(gt=0, le=5e5)] = 1.06e5
    air_fuel_ratio: Annotated[
        float | None, Field(gt=0, description="by mass, at full load; stoichiometric, diesel 1.4 times that")
    ] = None
    charge_cooling_share: Annotated[
        float, Field(ge=0, le=1, description="of the fuel's evaporation that cools the charge, not the port")
    ] = 0.5
    combustion_efficiency: Annotated[float | None, Field(ge=0, le=1, description="default by burnt gas")] = None
    half_burned: Annotated[
        float, u.ANGLE, Field(ge=-0.5, le=3.2, description="where half the fuel is burned, of a spark")
    ] = 0.13962634015954636
    injection_start: Annotated[float, u.ANGLE, Field(description="of diesel")] = -0.20943951023931956
    burn_start: Annotated[float | None, u.ANGLE, Field(description="instead of half_burned or injection_start")] = None
    burn_duration: Annotated[
        float | None, u.ANGLE, Field(gt=0, description="default by flame speed, or of a spray")
    ] = None
    wiebe_a: Annotated[float, Field(gt=0, le=20)] = 5.0
    wiebe_m: Annotated[float, Field(gt=0, le=10)] = 2.0
    second_burn_share: Annotated[float, Field(ge=0, lt=1, description="of the fuel, burning at its own pace")] = 0.0
    second_burn_duration: Annotated[float | None, u.ANGLE, Field(gt=0)] = None
    second_wiebe_m: Annotated[float, Field(gt=0, le=10)] = 1.0
    octane_number: Annotated[float | None, Field(gt=0, le=130, description="research; default the fuel's")] = None
    wall_temperature: Annotated[float, u.TEMPERATURE, Field(gt=150, lt=1500)] = 440.0
    wall_heat_law: Literal["woschni", "hohenberg"] = "woschni"
    wall_heat_factor: Annotated[float, Field(ge=0, le=10, description="times the law's coefficient")] = 1.0
    exhaust_port_heat_factor: Annotated[
        float, Field(ge=0, le=10, description="times the coefficient in the exhaust port; 0 lets none out")
    ] = 1.0
    intake_opens: Annotated[float | None, u.ANGLE] = None
    intake_closes: Annotated[float | None, u.ANGLE] = None
    exhaust_opens: Annotated[float | None, u.ANGLE] = None
    exhaust_closes: Annotated[float | None, u.ANGLE] = None
    intake_flow_area: Annotated[float | None, u.AREA, Field(gt=0, description="greatest effective area")] = None
    exhaust_flow_area: Annotated[float | None, u.AREA, Field(gt=0, description="greatest effective area")] = None
    scavenging: Annotated[
        float, Field(ge=0, le=1, description="two-stroke: 0 fresh charge mixes at once, 1 it pushes burnt gas out")
    ] = 0.5
    blow_by_area: Annotated[float, u.AREA, Field(ge=0, le=2e-5, description="effective leak past the rings")] = 0.0
    heat_capacity_ratio: Annotated[
        float | None, Field(gt=1.01, le=1.67, description="one ideal gas of this ratio at 300 K, not real properties")
    ] = None
    heat_capacity_ratio_fall: Annotated[
        float, u.Unit("1/K", "per_kK", "a rate per kelvin", ("per_kK", "per_K")), Field(ge=0, le=1e-4)
    ] = 0.0
    gas_constant: Annotated[float, u.Unit("J/kg/K", "J_per_kg_K", "a gas constant", ("J_per_kg_K",)), Field(gt=0)] = (
        287.0
    )
    lower_heating_value: Annotated[
        float | None, u.SPECIFIC_ENERGY, Field(ge=0, description="with heat_capacity_ratio")
    ] = None


class LoadBase(Table):
    reacted_by: Annotated[
        Name | None, Field(description="body that takes the output torque, or ground; default block")
    ] = None
    gear: Annotated[Gear | None, Field(description="of [driveline], that the run is in")] = None
    chain: Chain | None = None
    differential: Differential | None = None
    rotor: Annotated[Name | None, Field(description="that the load acts on, felt at the crank; default the crank")] = (
        None
    )


class NoLoad(LoadBase):
    law: Literal["none"] = "none"


class ConstantLoad(LoadBase):
    law: Literal["constant"]
    torque: Annotated[float, u.TORQUE]


class RoadLoad(LoadBase):
    """Torque = torque + linear·speed + quadratic·speed² at the crank."""

    law: Literal["road"]
    torque: Annotated[float, u.TORQUE, Field(ge=0)] = 0.0
    linear: Annotated[float, u.TORQUE_PER_SPEED, Field(ge=0)] = 0.0
    quadratic: Annotated[float, u.TORQUE_PER_SPEED2, Field(ge=0)] = 0.0


class DynamometerLoad(LoadBase):
    """Torque = torque + slope·(speed − held speed)."""

    law: Literal["dynamometer"]
    speed: Annotated[float, u.SPEED, Field(gt=0)]
    torque: Annotated[float, u.TORQUE] = 0.0
    slope: Annotated[float, u.TORQUE_PER_SPEED, Field(ge=0)]


Gas = Annotated[NoGas | MotoredGas | TraceGas | CycleGas, Field(discriminator="source")]
Load = Annotated[NoLoad | ConstantLoad | RoadLoad | DynamometerLoad, Field(discriminator="law")]


class Engine(Table):
    strokes: Literal[2, 4] = 4
    bore: Annotated[float, u.LENGTH, Field(gt=0, le=2)]
    stroke: Annotated[float, u.LENGTH, Field(gt=0, le=5)]
    rod_length: Annotated[float, u.LENGTH, Field(gt=0, le=20)]
    compression_ratio: Annotated[float | None, Field(gt=1, le=40)] = None
    body: Name
    origin: Annotated[Vector, u.LENGTH, Field(description="a point on the crank axis, vehicle axes")]
    crank_direction: Vector
    reference_direction: Vector
    firing_order: tuple[str, ...] = ()
    piston: Piston
    rod: Rod
    crank: Crank
    cylinder: Annotated[tuple[Cylinder, ...], Field(min_length=1)]
    balance_shaft: tuple[BalanceShaft, ...] = ()
    gas: Gas = NoGas()
    charging: Charging = NoCharging()
    friction: Friction = SimpleFriction()
    accessory: tuple[Accessory, ...] = ()
    tooth_wheel: ToothWheel | None = None
    load: Load = NoLoad()
    starter: StarterTable | None = None
    governor: Governor | None = None


class Body(Table):
    name: Name
    mass: Annotated[float, u.MASS, Field(gt=0)]
    centre_of_mass: Annotated[Vector, u.LENGTH]
    inertia: Annotated[
        tuple[float, float, float, float, float, float],
        u.INERTIA,
        Field(description="Ixx, Iyy, Izz, Ixy, Ixz, Iyz about the centre of mass"),
    ]
    inertia_products: Literal["matrix", "integral"] = "matrix"
    moving_parts: Literal["included", "separate"] = "included"
    mode: tuple[ElasticMode, ...] = ()
    modes: ElasticModes | None = None


class Sensor(Table):
    name: Name
    body: Name
    at: Annotated[Vector, u.LENGTH]
    contact: Annotated[Contact | None, Field(description="who touches it feels it: judged as human exposure")] = None
    posture: Annotated[Posture | None, Field(description="of who has the feet on a footrest; default sitting")] = None


THROTTLE_RESPONSE = 0.05  # s; common practice for a plate driven by a motor, no source


class Run(StepKeys):
    kind: Literal[
        "steady",
        "free",
        "load_step",
        "misfire",
        "cyclic",
        "road",
        "start",
        "idle",
        "run_up",
        "coast_down",
        "stop",
        "programme",
    ] = "steady"
    speed: Annotated[
        float, u.SPEED, Field(description="crank speed as the run begins; the mean speed of a steady run")
    ] = 0.0
    load: Annotated[float, Field(ge=0, le=1, description="share of full load")] = 1.0
    bmep: Annotated[
        float | None, u.PRESSURE, Field(description="brake mean effective pressure to find the load for")
    ] = None
    torque: Annotated[float | None, u.TORQUE, Field(description="brake torque to find the load for")] = None
    power: Annotated[float | None, u.POWER, Field(description="brake power to find the load for")] = None
    load_after: Annotated[float | None, Field(ge=0, le=1, description="of a load step")] = None
    step_at: Annotated[float, u.TIME, Field(ge=0, le=3600, description="of a load step or clutch, in the record")] = 0.2
    throttle_response: Annotated[
        float, u.TIME, Field(gt=0, le=10, description="in which the throttle goes 63 % of its way")
    ] = THROTTLE_RESPONSE
    hold_speed: Annotated[
        bool, Field(description="in a load step: a brake holds the crank's mean speed; else it is left alone")
    ] = True
    duration: Annotated[float, u.TIME, Field(gt=0, le=3600, description="of the record")] = 1.0
    sample_rate: Annotated[float, u.FREQUENCY, Field(gt=0, le=1e6)] = 10000.0
    points_per_cycle: Annotated[int, Field(ge=36, le=7200, multiple_of=4)] = 720
    start: Literal["static", "drawn"] = "static"
    gravity: bool = True
    relative_tolerance: Annotated[float, Field(ge=1e-12, le=1e-3)] = 1e-6
    solve: Annotated[
        Literal["settle", "periodic"],
        Field(description="of a steady run: cycle by cycle until they repeat, or search for the state that repeats"),
    ] = "settle"
    held_by: Annotated[
        Literal["load_torque", "load", "governor"],
        Field(
            description="what holds a steady run's mean speed: a torque added to the load, the engine's own load (the "
            "load torque as it is, or run.torque), or the governor, whose speed follows"
        ),
    ] = "load_torque"
    settle_tolerance: Annotated[float, Field(ge=1e-8, le=0.1, description="change from cycle to cycle")] = 1e-4
    settle_cycles: Annotated[int, Field(ge=2, le=100000, description="most cycles to wait for a steady state")] = 4000
    variation: Variation | None = None
    misfire: Misfire | None = None
    clutch: Annotated[ClutchRun | None, Field(description="that closes at step_at")] = None
    vehicle_speed: Annotated[float | None, u.VELOCITY, Field(gt=0, le=200, description="of a run over a road")] = None
    road: Annotated[Road | None, Field(description="that it drives over")] = None
    step: Annotated[tuple[Step, ...], Field(description="of a programme, one after the other")] = ()


class Case(Table):
    case: CaseInfo = CaseInfo()
    engine: Engine | None = None
    body: Annotated[tuple[Body, ...], Field(min_length=1)]
    mount: tuple[Mount, ...] = ()
    wheel: tuple[Wheel, ...] = ()
    anti_roll_bar: tuple[AntiRollBar, ...] = ()
    occupant: tuple[Occupant, ...] = ()
    rotor: tuple[Rotor, ...] = ()
    shaft: tuple[Shaft, ...] = ()
    sensor: tuple[Sensor, ...] = ()
    run: Run | None = None
    duty: tuple[Duty, ...] = ()
    driveline: Driveline | None = None
    point: tuple[Point, ...] = ()
    load_case: tuple[LoadCase, ...] = ()
    size: Size | None = None
