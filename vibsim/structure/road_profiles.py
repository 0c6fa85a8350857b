"""Roads: heights along the tracks of a vehicle's wheels, and what a tyre feels of them.

A profile is a piecewise polynomial in the distance (m) from where the foremost wheel stands as the run begins; a tyre
feels its mean over the contact (a moving average, whose transfer function is sin(πnc)/(πnc) of a wave number n).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from scipy.fft import irfft, next_fast_len
from scipy.interpolate import CubicSpline, PPoly
from scipy.special import gamma, kv

from vibsim.inputs.columns import columns_of, numbers, read_sheet
from vibsim.inputs.errors import InputError
from vibsim.inputs.road_models import Bump, Road, RoadFile, RoadStep, RoughRoad
from vibsim.inputs.units import LENGTH

REFERENCE = 0.1  # cycle/m, n0 of ISO 8608
CLASS_A = 16e-6  # m³, geometric mean of Gd(n0) of class A; each class is four times the one before (from memory)
CLASSES = "ABCDEFGH"
POINTS_PER_WAVE = 20  # of the shortest, where heights are computed; a cubic between them is good to 1e-4 of it
WAVES = 10  # of the longest that a random road has at least before it repeats
BUMP_POINTS = 65
MOST_POINTS = 20_000_000  # of a random road, over all tracks


def roughness(road: RoughRoad, wave_number: np.ndarray) -> np.ndarray:
    """Displacement density Gd(n) = Gd(n0)·(n/n0)^−w (m³, one-sided) at wave numbers (cycle/m); ISO 8608."""
    level = CLASS_A * 4.0 ** CLASSES.index(road.road_class)
    return np.asarray(level * (np.asarray(wave_number, dtype=float) / REFERENCE) ** -road.waviness)


def profiles(
    road: Road, sides: np.ndarray, length: float, fade: float, folder: Path, fade_out: float | None = None
) -> list[PPoly]:
    """Profiles of wheels at places across (wheels) m, Y to the left, over `length` (m) from the start; a random one
    fades in over `fade` (m), and out over as much to be level from `fade_out` (m) on, if that is given.

    Raises InputError for a file that is wrong or too short, and a random road too long.
    """
    if isinstance(road, RoughRoad):
        return _random(road, sides, length, fade, fade_out)
    if isinstance(road, RoadFile):
        left, right = _from_file(road, length, folder)
        middle = PPoly(0.5 * (left.c + right.c), left.x)
        return [left if side > 0.0 else right if side < 0.0 else middle for side in sides]
    return [_bump(road) if isinstance(road, Bump) else _step(road)] * len(sides)


def felt(profile: PPoly, contact: float, distance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Height (n) m and slope (n) that a tyre with so long a contact (m) feels at distances (n) m: the mean of the
    profile over the contact, h̄ = (H(x + c/2) − H(x − c/2))/c with H its integral, and the slope of that."""
    whole = profile.antiderivative()
    front, back = distance + 0.5 * contact, distance - 0.5 * contact
    height = (_extended(whole, profile, front) - _extended(whole, profile, back)) / contact
    return height, (_level_at_ends(profile, front) - _level_at_ends(profile, back)) / contact


def shortest_feature(road: Road) -> float:
    """Length (m) that a road's table must resolve."""
    if isinstance(road, RoughRoad):
        return road.shortest_wave
    return road.length if isinstance(road, Bump) else math.inf


def isotropic_coherence(wave_number: np.ndarray, apart: float, waviness: float) -> np.ndarray:
    """Cross over own density (n) of two parallel tracks so far apart (m) on a surface as rough in all directions:
    2·(πnd)^(w/2)·K_{w/2}(2πnd)/Γ(w/2) (derived: a plane density ~ |k|^−(w+1), integrated across)."""
    order, at = 0.5 * waviness, 2.0 * np.pi * np.asarray(wave_number, dtype=float) * apart
    if apart == 0.0:
        return np.ones_like(at)
    return np.asarray(2.0 * (0.5 * at) ** order * kv(order, at) / gamma(order))


def _extended(whole: PPoly, profile: PPoly, x: np.ndarray) -> np.ndarray:
    """Integral of a profile that goes on level beyond its ends."""
    inside = np.clip(x, profile.x[0], profile.x[-1])
    return np.asarray(whole(inside) + profile(inside) * (x - inside))


def _level_at_ends(profile: PPoly, x: np.ndarray) -> np.ndarray:
    return np.asarray(profile(np.clip(x, profile.x[0], profile.x[-1])))


def _bump(road: Bump) -> PPoly:
    share = np.linspace(0.0, 1.0, BUMP_POINTS)
    steep = math.pi * road.height / road.length
    arch = CubicSpline(
        road.at + road.length * share, road.height * np.sin(math.pi * share), bc_type=((1, steep), (1, -steep))
    )
    flat = np.zeros((4, 1))
    coefficients = np.concatenate([flat, arch.c, flat], axis=1)
    return PPoly(coefficients, np.concatenate([[road.at - 1.0], arch.x, [arch.x[-1] + 1.0]]))


def _step(road: RoadStep) -> PPoly:
    return PPoly(np.array([[0.0, road.height]]), road.at + np.array([-1.0, 0.0, 1.0]))


def _from_file(road: RoadFile, length: float, folder: Path) -> tuple[PPoly, PPoly]:
    """Left and right track, from their own first height on."""
    sheet = read_sheet(folder / road.file, "run.road.file")
    distance = numbers(sheet, "distance", LENGTH)
    if len(distance) < 2:
        raise InputError(f"{sheet.where}: has {len(distance)} points; a road needs at least 2")
    falls = np.flatnonzero(np.diff(distance) <= 0.0)
    if falls.size:
        line = sheet.rows[int(falls[0]) + 1][0]
        raise InputError(f"{sheet.where}: line {line}: distance must rise from row to row, does not")
    distance = distance - distance[0]
    if distance[-1] < length:
        raise InputError(
            f"{sheet.where}: is {distance[-1]:.4g} m long; the record drives over {length:.4g} m; "
            "shorten run.duration or give a longer road"
        )
    names = ["left_height", "right_height"] if columns_of(sheet, "left_height", unit=True) else ["height", "height"]
    tracks = [numbers(sheet, name, LENGTH) for name in names]
    left, right = (
        PPoly(np.stack([np.diff(track) / np.diff(distance), (track - track[0])[:-1]]), distance) for track in tracks
    )
    return left, right


def _random(road: RoughRoad, sides: np.ndarray, length: float, fade: float, fade_out: float | None) -> list[PPoly]:
    """Gaussian heights on lines 1/L apart, each with its share of the density over its own stretch of wave numbers, so
    that their mean square comes to the integral of it; L the road's length, or so many of its longest waves."""
    across, wheel_track = np.unique(np.round(sides, 6), return_inverse=True)
    if road.tracks == "alike":
        across, wheel_track = across[:1], np.zeros(len(sides), dtype=int)
    span = max(length, WAVES * road.longest_wave)
    points = next_fast_len(math.ceil(POINTS_PER_WAVE * span / road.shortest_wave) + 1, real=True)
    if points * len(across) > MOST_POINTS:
        raise InputError(
            f"run.road: {span:.4g} m with waves down to {road.shortest_wave:.4g} m take {points * len(across):,} "
            f"points; at most {MOST_POINTS:,}; shorten run.duration or raise shortest_wave"
        )
    heights = random_heights(road, across, span, points)
    x = np.arange(points) * span / points
    used = x <= length + 2.0 * span / points + road.shortest_wave
    rise = _rise(x, fade)
    if fade_out is not None:
        rise = rise * _rise(fade_out - x, fade)
    curves = [CubicSpline(x[used], (rise * track)[used]) for track in heights]
    return [PPoly(curves[n].c, curves[n].x) for n in wheel_track]


def _rise(x: np.ndarray, fade: float) -> np.ndarray:
    """From 0 to 1 over distances (n) m from 0 to `fade` (m), without a jump in slope."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(x / fade, 0.0, 1.0)))


def random_heights(road: RoughRoad, across: np.ndarray, span: float, points: int) -> np.ndarray:
    """Heights (tracks, points) m of tracks at places across (m) over a span (m) that then repeats."""
    lines = np.arange(points // 2 + 1)
    low = np.clip((lines - 0.5) / span, 1.0 / road.longest_wave, 1.0 / road.shortest_wave)
    high = np.clip((lines + 0.5) / span, 1.0 / road.longest_wave, 1.0 / road.shortest_wave)
    less = 1.0 - road.waviness
    level = float(roughness(road, np.array(REFERENCE)))
    power = level * REFERENCE * ((high / REFERENCE) ** less - (low / REFERENCE) ** less) / less
    kept = np.flatnonzero(power > 0.0)
    mixed = _mixed(road, across, kept / span)
    generator = np.random.default_rng(road.seed)
    drawn = generator.standard_normal((kept.size, len(across), 2)) @ np.array([1.0, 1.0j])
    spectrum = np.zeros((len(across), lines.size), dtype=complex)
    # a line's mean square is ½·|amplitude|², that of |drawn| is 2, irfft takes points/2 of an amplitude
    amplitude = np.sqrt(power[kept])[:, None] * np.einsum("nij,nj->ni", mixed, drawn)
    spectrum[:, kept] = 0.5 * points * amplitude.T
    return np.asarray(irfft(spectrum, points, axis=1))


def _mixed(road: RoughRoad, across: np.ndarray, wave_number: np.ndarray) -> np.ndarray:
    """Square roots (n, tracks, tracks) of the tracks' coherence."""
    count = len(across)
    if road.tracks != "isotropic" or count == 1:
        return np.broadcast_to(np.eye(count), (wave_number.size, count, count))
    matrix = np.empty((wave_number.size, count, count))
    for i in range(count):
        for j in range(count):
            matrix[:, i, j] = isotropic_coherence(wave_number, abs(float(across[i] - across[j])), road.waviness)
    values, vectors = np.linalg.eigh(matrix)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :])
