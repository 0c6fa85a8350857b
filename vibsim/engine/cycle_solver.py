"""The working cycle repeated until it closes on itself."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vibsim.engine.burn import Burn
from vibsim.engine.cycle_kernel import CycleModel, Exhaust, Spent, run_cycle
from vibsim.engine.cycle_rates import (
    AIR_,
    BACK,
    BURNT_,
    FRESH,
    FUEL_,
    STATES,
    SUMS,
    T_,
    W_AIR,
    W_BURNT,
    W_FUEL,
    W_HEAT,
    W_RT,
    X_AIR,
    X_BURNT,
    X_FUEL,
    X_HEAT,
)
from vibsim.engine.cycle_setup import exhaust_at, exhaust_of, with_burn
from vibsim.engine.exhaust_port import cooled_share
from vibsim.engine.ignition import Trapped
from vibsim.engine.periodic import Anderson
from vibsim.inputs.errors import VibsimError

TOLERANCE = 2e-5  # of temperature and masses from one cycle to the next
SLACK = 10.0  # times that of what comes back from the exhaust, little of what is there: 0.2 K
LEAST_RICHNESS = 0.1  # closer where there is less fuel whose energy must balance
MOST_CYCLES = 300
PATIENCE = 40  # cycles after which steps are halved instead of accelerated
# for the first guess: K of the charge on its way in, share of the volume it fills, 1/n of exhaust gas that expands
WARMING, FILLED, EXPANDING = 8.0, 0.98, 0.77
EXHAUST, SPENT, INTAKE = slice(STATES, STATES + 4), slice(STATES + 4, STATES + 7), STATES + 7
SIZE = STATES + 8
MOST_SCAVENGE = 1.5  # delivery over exhaust pressure, what a crankcase can give; common practice
MUCH_WAITING = 0.5  # swept volumes of exhaust gas in the intake

BurnRule = Callable[[Trapped], tuple[Burn, float]]


class RepeatedCycle:
    """A cylinder's cycle with what passes from one to the next: the state as the valves shut, what flows back from the
    exhaust, what the exhaust opens on, and the intake pressure that delivers `delivered` kg of charge, if that is not
    0. `rule` gives burn and share that burns; without one the model's own are kept."""

    def __init__(self, model: CycleModel, rule: BurnRule | None = None, delivered: float = 0.0):
        self.model, self.rule, self.delivered = model, rule, delivered
        self.burn: Burn | None = None
        self.points = len(model.course)
        self.out = np.empty((self.points + 1, 6))
        self.sums, self.y = np.zeros(SUMS), np.zeros(STATES)
        self.trial, self.k = np.zeros(STATES), np.zeros((3, STATES))
        self.leaving = model.exhaust
        self.cycles = 0

    def converge(self) -> None:
        """Repeat until begin and end agree. Raises VibsimError when they will not, or the gas leaves its range."""
        x, mixer = self._first_guess(), Anderson()
        scale = self._scale()
        for self.cycles in range(1, MOST_CYCLES + 1):
            image = self._image(x)
            if np.abs((image - x) / scale).max() < TOLERANCE:
                return
            if self.cycles > PATIENCE:
                x = 0.5 * (x + image)
                continue
            following = mixer.next(x / scale, image / scale) * scale
            if not self._sensible(following):
                mixer.forget()
                following = image
            x = following
        raise VibsimError(self._why_not(x, scale))

    def _why_not(self, x: np.ndarray, scale: np.ndarray) -> str:
        """Why the cycle does not close."""
        where = f"engine.gas: the working cycle at {self.rpm} rpm"
        if x[W_AIR:W_HEAT].sum() < MUCH_WAITING * scale[AIR_]:
            return f"{where} did not close in {MOST_CYCLES} cycles"
        pressure = f"{1e-3 * self.model.intake_pressure:g} kPa"
        advice = "take a greater load or speed, or less valve overlap"
        return f"{where} does not close: the exhaust fills the intake, where {pressure} cannot be held; {advice}"

    @property
    def rpm(self) -> str:
        return f"{self.model.speed * 30.0 / math.pi:.0f}"

    @property
    def mass(self) -> float:
        return float(self.y[AIR_] + self.y[FUEL_] + self.y[BURNT_])

    def trapped(self) -> Trapped:
        """What the state is when the valves have shut."""
        gas, volume = self.model.gas, float(self.model.course[self.model.first, 0])
        temperature, air, fuel, burnt = (float(self.y[c]) for c in (T_, AIR_, FUEL_, BURNT_))
        constant = exhaust_at(temperature, (air, fuel, burnt), gas).constant
        return Trapped(constant * temperature / volume, temperature, burnt / self.mass)

    def _first_guess(self) -> np.ndarray:
        """Fresh charge, a little warmed, that fills the greatest volume beside the exhaust gas of the clearance."""
        model, back = self.model, self.model.exhaust
        least, most = float(model.course[:, 0].min()), FILLED * float(model.course[:, 0].max())
        rest = model.exhaust_pressure * least / (back.constant * back.temperature)
        held = min(least * (model.exhaust_pressure / model.intake_pressure) ** EXPANDING, 0.5 * most)
        fresh = model.intake_pressure * (most - held) / (model.fresh_rt * (1.0 + WARMING / model.intake_temperature))
        x = np.zeros(SIZE)
        x[T_] = model.intake_pressure * most * model.intake_temperature / (model.fresh_rt * (fresh + rest))
        x[AIR_] = fresh * (1.0 - model.fresh_fuel) + rest * back.air
        x[FUEL_], x[BURNT_] = fresh * model.fresh_fuel + rest * back.fuel, rest * back.burnt
        x[EXHAUST] = back.temperature, back.air, back.fuel, back.burnt
        x[SPENT], x[INTAKE] = model.spent, model.intake_pressure
        return x

    def _scale(self) -> np.ndarray:
        model = self.model
        mass = model.intake_pressure * model.swept / model.fresh_rt
        scale = np.full(SIZE, mass)
        # fuel and burnt gas bring more of the energy than of the mass
        scale[[FUEL_, W_FUEL]], scale[[BURNT_, W_BURNT]] = 0.02 * mass, 0.2 * mass
        scale[T_], scale[W_HEAT], scale[W_RT] = 400.0, 2e5 * mass, 1e5 * mass
        scale[EXHAUST] = SLACK * 1000.0, SLACK, SLACK, SLACK
        scale[SPENT], scale[INTAKE] = SLACK, 1e5
        rich = (model.injected / mass + model.fresh_fuel) * model.gas.air_per_fuel
        return scale * min(max(rich, LEAST_RICHNESS), 1.0)

    def _sensible(self, x: np.ndarray) -> bool:
        positive = np.all(x[[AIR_, FUEL_, BURNT_]] >= 0.0) and np.all(x[W_AIR:W_HEAT] >= 0.0) and x[W_RT] >= 0.0
        shares = np.all(x[STATES + 1 :] >= 0.0) and x[INTAKE] > 0.5 * self.model.exhaust_pressure * bool(self.delivered)
        return bool(positive and shares and 200.0 < x[T_] < 2500.0 and 200.0 < x[STATES] < 3500.0)

    def _image(self, x: np.ndarray) -> np.ndarray:
        """What one cycle makes of the state it began with."""
        self.y[:] = x[:STATES]
        temperature, *shares = (float(value) for value in x[EXHAUST])
        model = self.model._replace(
            exhaust=exhaust_at(temperature, (shares[0], shares[1], shares[2]), self.model.gas),
            spent=Spent(*(float(value) for value in x[SPENT])),
            intake_pressure=float(x[INTAKE]),
        )
        if self.rule is not None:
            self.burn, burnable = self.rule(self.trapped())
            model = with_burn(model, self.burn, burnable)
        self.model = model
        if not run_cycle(model, self.y, self.out, self.sums, self.trial, self.k):
            raise VibsimError(f"engine.gas: the working cycle at {self.rpm} rpm left the range of the gas model")
        image = np.empty(SIZE)
        image[:STATES] = self.y
        back = self._back()
        image[EXHAUST] = back.temperature, back.air, back.fuel, back.burnt
        opened = self.out[model.blowdown, 3:]
        image[SPENT] = opened / opened.sum()
        image[INTAKE] = self._pressure_to_deliver() if self.delivered else x[INTAKE]
        return image

    def _pressure_to_deliver(self) -> float:
        """Intake pressure at which the wanted charge would come in, were flow to go with the root of the difference to
        the exhaust."""
        model, fresh = self.model, float(self.sums[FRESH])
        more = min(max(self.delivered / max(fresh, 1e-3 * self.delivered), 0.5), 2.0) ** 2
        excess = max(model.intake_pressure / model.exhaust_pressure - 1.0, 1e-3) * more
        return model.exhaust_pressure * min(1.0 + excess, MOST_SCAVENGE)

    def _back(self) -> Exhaust:
        """What left through the exhaust, mixed and cooled by its port; `leaving` is the same at the valve."""
        model = self.model
        out = float(self.sums[X_AIR] + self.sums[X_FUEL] + self.sums[X_BURNT])
        if out <= 0.0:
            return model.exhaust
        air, fuel, burnt = (float(self.sums[c]) / out for c in (X_AIR, X_FUEL, X_BURNT))
        shares, guess = (air, fuel, burnt), self.leaving.temperature
        self.leaving = exhaust_of(float(self.sums[X_HEAT]) / out, shares, model.gas, guess)
        at_valve = self.leaving.temperature
        if model.port_factor == 0.0:
            return self.leaving
        capacity = self.leaving.gamma / (self.leaving.gamma - 1.0) * self.leaving.constant
        kept = cooled_share(out * model.speed / model.cycle, at_valve, capacity, model.bore) ** model.port_factor
        return exhaust_at(model.wall_temperature + kept * (at_valve - model.wall_temperature), shares, model.gas)

    @property
    def exhaust_out(self) -> float:
        """kg out through the exhaust valve, before what comes back."""
        return float(self.sums[X_AIR] + self.sums[X_FUEL] + self.sums[X_BURNT])

    @property
    def exhaust_back(self) -> float:
        return float(self.sums[BACK])

    def scavenge_work(self, ambient: float) -> float:
        """J a cycle to deliver the charge from ambient pressure (Pa) to the intake's, without loss (derived)."""
        model = self.model
        if not self.delivered:
            return 0.0
        power = 1.0 - 1.0 / model.fresh_gamma
        rise = max(model.intake_pressure / ambient, 1.0) ** power - 1.0
        return float(self.sums[FRESH]) * model.fresh_rt / power * rise
