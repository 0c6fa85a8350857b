"""How the charge burns: Wiebe functions, and how fast a flame or a spray is at an operating point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

POINTS = 1025


@dataclass(frozen=True)
class Burn:
    """Start and duration (rad from firing top dead centre), Wiebe's a and m; a second part of `share` of the fuel that
    starts at the same time with its own duration, a and m."""

    start: float
    duration: float
    a: float = 5.0
    m: float = 2.0
    share: float = 0.0
    second_duration: float = 1.0
    second_m: float = 1.0
    second_a: float = 5.0

    @property
    def span(self) -> float:
        """Angle from the first to the last of it, rad."""
        return max(self.duration, self.second_duration if self.share > 0.0 else 0.0)

    def table(self) -> np.ndarray:
        """Burned share (POINTS) over the span, from 0 to 1; what Wiebe's function leaves is spread over it."""
        second = self.second_duration / self.duration if self.share > 0.0 else 1.0
        return _table(self.a, self.m, self.share, second, self.second_a, self.second_m)


@lru_cache(maxsize=256)
def _table(a: float, m: float, share: float, second: float, second_a: float, second_m: float) -> np.ndarray:
    """As `Burn.table`, the second duration in first ones; kept, as most burns differ by place and length alone."""
    y = np.linspace(0.0, max(1.0, second), POINTS)
    burned = wiebe(np.minimum(y, 1.0), a, m)
    if share > 0.0:
        burned = (1.0 - share) * burned + share * wiebe(np.minimum(y / second, 1.0), second_a, second_m)
    burned /= burned[-1]
    burned.setflags(write=False)
    return burned


def wiebe(y: np.ndarray | float, a: float, m: float) -> np.ndarray:
    """Burned share (n) at shares y (n) of the duration: 1 − exp(−a·y^(m+1)) (Heywood 1988, ch. 9, from memory)."""
    return np.asarray(-np.expm1(-a * np.asarray(y) ** (m + 1.0)))


def wiebe_angle(share: float, a: float, m: float) -> float:
    """Where a share is burned, of the duration (derived: the inverse of `wiebe`)."""
    return (-math.log1p(-share) / a) ** (1.0 / (m + 1.0))


@dataclass(frozen=True)
class Charge:
    """What is about to burn: pressure Pa, temperature K, share of burnt gas, fuel over air to the stoichiometric; mean
    piston speed m/s, crank speed rad/s, bore m."""

    pressure: float
    temperature: float
    residual: float
    richness: float
    piston_speed: float
    speed: float
    bore: float


REFERENCE = Charge(20e5, 750.0, 0.06, 1.05, 10.0, 400.0, 0.08)  # burns in the reference duration
REFERENCE_DURATION = math.radians(52.0)  # common practice, no source: petrol, full load, 3800 rpm


def laminar_speed(charge: Charge) -> float:
    """Laminar flame speed of petrol, m/s, at least 5 % of that without burnt gas.

    Rhodes & Keck 1985 and Metghalchi & Keck 1982 as in Heywood 1988, section 9.3.4 (from memory).
    """
    rich = charge.richness
    unstretched = max(0.305 - 0.549 * (rich - 1.21) ** 2, 0.02)
    alpha, beta = 2.18 - 0.8 * (rich - 1.0), -0.16 + 0.22 * (rich - 1.0)
    dilution = max(1.0 - 2.06 * charge.residual**0.77, 0.05)
    return unstretched * (charge.temperature / 298.0) ** alpha * (charge.pressure / 101325.0) ** beta * dilution


def flame_duration(charge: Charge) -> float:
    """Burn duration of a spark-ignited charge, rad: (c·ν)^(1/3)·(b/S)^(2/3) of piston speed, viscosity, bore and flame
    speed against a reference charge (form of Hires, Tabaczynski & Novak 1978, SAE 780232, from memory)."""

    return REFERENCE_DURATION * _flame_size(charge) / _flame_size(REFERENCE)


def _flame_size(charge: Charge) -> float:
    viscosity = charge.temperature**1.7 / charge.pressure  # kinematic, of a gas, over a constant
    return (charge.piston_speed * viscosity) ** (1.0 / 3.0) * (charge.bore / laminar_speed(charge)) ** (2.0 / 3.0)


def burnt_share_at_best(residual: float) -> float:
    """Share of the fuel that burns in a spark-ignited charge: 0.98, less where burnt gas is more than 30 % of it and
    none from 70 % on, the mean of cycles that burn and cycles that do not (common practice, no source)."""
    return 0.98 * min(max((0.7 - residual) / 0.4, 0.0), 1.0)


def ignition_delay(charge: Charge, cetane: float) -> float:
    """Delay of compression ignition, rad: (0.36 + 0.22·c)·exp(E·(1/RT − 1/17190)·(21.2/(p − 12.4))^0.63) degrees, with
    E = 618840/(CN + 25) J/mol and p in bar (Hardenberg & Hase 1979 as in Heywood 1988, eq. 10.37, from memory)."""
    energy = 618840.0 / (cetane + 25.0)
    squeezed = (21.2 / max(1e-5 * charge.pressure - 12.4, 1.0)) ** 0.63
    exponent = energy * (1.0 / (8.3143 * charge.temperature) - 1.0 / 17190.0) * squeezed
    return math.radians((0.36 + 0.22 * charge.piston_speed) * math.exp(min(exponent, 5.0)))


SPRAY_DURATION = math.radians(125.0)
PREMIXED_A = 5000.0


def spray_burn(start: float, charge: Charge, delay: float) -> Burn:
    """Burn of a spray that begins at `start` after a delay (rad): what was mixed by then burns at once, the rest as it
    finds air.

    Over 125 degrees, shares y of them: premixed 1 − (1 − y^K1)^5000 with K1 = 2 + 1.25e-8·(τ·N)^2.4 (τ ms, N rpm), as
    good as Wiebe's with a = 5000; the rest 1 − exp(−K3·y^K4), K3 = 14.2/φ^0.644, K4 = 0.79·K3^0.25 (Watson, Pilley &
    Marzouk 1980, SAE 800029, as in Heywood 1988, section 10.4, from memory).
    """
    turned = math.degrees(delay) / 6e-3  # τ·N, from degrees
    first = 2.0 + 1.25e-8 * turned**2.4
    rest = 14.2 / max(charge.richness, 0.05) ** 0.644
    spread = 0.79 * rest**0.25
    share = 1.0 - premixed_share(charge, delay)
    return Burn(start, SPRAY_DURATION, PREMIXED_A, first - 1.0, share, SPRAY_DURATION, spread - 1.0, rest)


def premixed_share(charge: Charge, delay: float) -> float:
    """Share of a spray's fuel that burns at once after the delay (rad): 1 − 0.926·φ^0.37/τ^0.26, τ in ms (Watson,
    Pilley & Marzouk 1980, SAE 800029, from memory), between 0 and 0.9."""
    milliseconds = max(1e3 * delay / charge.speed, 0.05)
    return min(max(1.0 - 0.926 * max(charge.richness, 0.05) ** 0.37 / milliseconds**0.26, 0.0), 0.9)
