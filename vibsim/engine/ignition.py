"""When and how fast the charge burns at an operating point: by what the case says, else by its state at ignition."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from vibsim.engine.burn import Burn, Charge, flame_duration, ignition_delay, spray_burn, wiebe, wiebe_angle
from vibsim.engine.cycle_setup import Conditions, by_compression, fuel_of, richness_of
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume, mean_piston_speed
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import CycleGas

SPARK = math.radians(-20.0)  # where the state that sets a flame's speed is taken
LONGEST_FLAME = math.radians(120.0)
EXPONENT = 1.33  # polytropic, from valves shut to ignition


class Trapped(NamedTuple):
    """What is in the cylinder when the valves have shut: Pa, K, share of burnt gas."""

    pressure: float
    temperature: float
    residual: float


@dataclass(frozen=True)
class Ignition:
    """What does not change from cycle to cycle. `shut` and `opens` as from `shut_span`; `ratio` of volumes from valves
    shut to ignition; `late` rad later than the case says; angles as given, or None."""

    compression: bool
    cetane: float
    start: float | None
    half: float
    duration: float | None
    shape: tuple[float, float, float, float | None, float]
    late: float
    shut: float
    opens: float
    ratio: float
    richness: float
    piston_speed: float
    speed: float
    bore: float

    def burn(self, trapped: Trapped) -> Burn:
        """The burn that follows on a trapped charge."""
        charge = self.charge(trapped)
        if self.compression and self.duration is None:
            delay = ignition_delay(charge, self.cetane)
            start = self.half + delay if self.start is None else self.start
            return spray_burn(min(start + self.late, self.opens), charge, delay)
        a, m, second, second_duration, second_m = self.shape
        duration = self.duration or min(flame_duration(charge), LONGEST_FLAME)
        if self.start is not None:
            start = self.start
        elif self.compression:
            start = self.half + ignition_delay(charge, self.cetane)
        else:
            start = self.half - half_way(a, m) * duration
        return Burn(max(start + self.late, self.shut), duration, a, m, second, second_duration or duration, second_m, a)

    def charge(self, trapped: Trapped) -> Charge:
        """State at ignition, compressed with p·V^1.33."""
        return Charge(
            pressure=trapped.pressure * self.ratio**EXPONENT,
            temperature=trapped.temperature * self.ratio ** (EXPONENT - 1.0),
            residual=trapped.residual,
            richness=self.richness,
            piston_speed=self.piston_speed,
            speed=self.speed,
            bore=self.bore,
        )


def ignition_of(gas: CycleGas, cylinder: ResolvedCylinder, at: Conditions, span: tuple[float, float]) -> Ignition:
    """Ignition of a cylinder whose valves are shut over a span (rad).

    Raises InputError for a burn given outside of it.
    """
    compression = by_compression(gas)
    _check_burn(gas, cylinder.burn_shift, span)
    # a spray ignites near top dead centre, where Hardenberg & Hase take the state
    volume = cylinder_volume(cylinder, np.array([span[0], 0.0 if compression else SPARK]))[0]
    second = gas.second_burn_duration
    return Ignition(
        compression=compression,
        cetane=fuel_of(gas).cetane,
        start=gas.burn_start,
        half=gas.injection_start if compression else gas.half_burned,
        duration=gas.burn_duration,
        shape=(gas.wiebe_a, gas.wiebe_m, gas.second_burn_share, second, gas.second_wiebe_m),
        late=cylinder.burn_shift + at.late,
        shut=span[0],
        opens=span[1],
        ratio=float(volume[0] / volume[1]),
        richness=richness_of(gas, at.fuelling * cylinder.fuelling),
        piston_speed=mean_piston_speed(cylinder, at.speed),
        speed=at.speed,
        bore=cylinder.bore,
    )


def _check_burn(gas: CycleGas, late: float, span: tuple[float, float]) -> None:
    """What the case gives of the burn must lie between the last valve closing and the first opening."""
    where = "half_burned_deg"
    start = gas.half_burned
    if gas.burn_start is not None:
        where, start = "burn_start_deg", gas.burn_start
    elif by_compression(gas):
        where, start = "injection_start_deg", gas.injection_start
    end = start
    if gas.burn_duration is not None:
        where += ", burn_duration_deg"
        if where.startswith("half"):
            start -= half_way(gas.wiebe_a, gas.wiebe_m) * gas.burn_duration
        end = start + max(gas.burn_duration, (gas.second_burn_duration or 0.0) * (gas.second_burn_share > 0.0))
    if span[0] <= start + late and end + late <= span[1] * (1.0 + 1e-12):
        return
    got = f"{math.degrees(start):g}" + (f" to {math.degrees(end):g}" if end > start else "") + " deg"
    shifted = f", {math.degrees(late):g} deg later in this cylinder" if late else ""
    raise InputError(
        f"engine.gas.{where}: got {got}{shifted}; must lie between the last valve closing, "
        f"{math.degrees(span[0]):g} deg, and the first exhaust opening or intake opening, {math.degrees(span[1]):g} deg"
    )


def half_way(a: float, m: float) -> float:
    """Where half of what burns has burned, of the duration."""
    return wiebe_angle(0.5 * float(wiebe(1.0, a, m)), a, m)
