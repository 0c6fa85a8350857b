"""Interpolation between pressure traces measured at several crank speeds and loads.

Points (n, 2) are crank speeds (rad/s) and loads. Every speed measured at every load is a full grid: bilinear. Anything
else is joined to triangles (Delaunay, speed and load scaled to their spans): linear in each. Both give the measured
trace at a measured point and are exact for what is linear in speed and load. Nothing is extrapolated.
"""

from __future__ import annotations

import numpy as np

from vibsim.inputs.errors import InputError

SLACK = 1e-6  # of a span: rounding of a unit must not put a point outside
RPM = 30.0 / np.pi


def is_full_grid(points: np.ndarray) -> bool:
    return len(points) == len(np.unique(points[:, 0])) * len(np.unique(points[:, 1]))


def weights(points: np.ndarray, speed: float, load: float, where: str) -> np.ndarray:
    """Shares (n) of the measured traces in that of a crank speed (rad/s) and load; they sum to one.

    Raises InputError, begun with `where`, that names the measured range when the point is outside.
    """
    found = _grid_weights(points, speed, load) if is_full_grid(points) else _triangle_weights(points, speed, load)
    if found is None:
        raise InputError(f"{where}: {speed * RPM:.4g} rpm at load {load:g} is not measured; {_range(points, load)}")
    return found


def _range(points: np.ndarray, load: float) -> str:
    speeds = breaks_in_speed(points, load)
    if len(speeds) == 0:
        low, high = points[:, 1].min(), points[:, 1].max()
        return f"the traces cover {_span('load ', low, high, '')}"
    return f"at that load the traces cover {_span('', speeds[0] * RPM, speeds[-1] * RPM, ' rpm')}"


def _span(before: str, low: float, high: float, after: str) -> str:
    if high - low <= SLACK * high:
        return f"{before}{low:.4g}{after} alone"
    return f"{before}{low:.4g} to {high:.4g}{after}"


def _grid_weights(points: np.ndarray, speed: float, load: float) -> np.ndarray | None:
    shares = np.ones(len(points))
    for column, value in enumerate((speed, load)):
        nodes, place = np.unique(points[:, column], return_inverse=True)
        slack = SLACK * (nodes[-1] if column == 0 else 1.0)
        if not nodes[0] - slack <= value <= nodes[-1] + slack:
            return None
        hats = np.array([np.interp(value, nodes, row) for row in np.eye(len(nodes))])
        shares *= hats[place.reshape(-1)]
    return shares


def _triangles(points: np.ndarray):
    """Linear interpolant of one share per point. Raises InputError when the points span no area."""
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import QhullError

    try:
        return LinearNDInterpolator(points, np.eye(len(points)), rescale=True)
    except (QhullError, ValueError):
        raise InputError(
            "engine.gas.folder: index.csv: the points lie on one slanting line of speed and load; measure every speed "
            "at every load, or points that span an area"
        ) from None


def corners(points: np.ndarray) -> np.ndarray:
    """The triangles (m, 3) that join points which are no full grid, by their places in `points`."""
    return _triangles(points).tri.simplices


def _triangle_weights(points: np.ndarray, speed: float, load: float) -> np.ndarray | None:
    interpolant, middle = _triangles(points), points.mean(axis=0)
    wanted = np.array([speed, load])
    for place in (wanted, wanted + 2.0 * SLACK * (middle - wanted)):
        shares = np.asarray(interpolant(place[None, :]))[0]
        if np.isfinite(shares).all():
            return shares
    return None


def breaks_in_speed(points: np.ndarray, load: float) -> np.ndarray:
    """Crank speeds (m, rising) between which the interpolant at a load is a straight line of speed; none when the load
    is not measured."""
    speeds, loads = points.T
    if not loads.min() - SLACK <= load <= loads.max() + SLACK:
        return np.zeros(0)
    if is_full_grid(points):
        return np.unique(speeds)
    load = min(max(load, loads.min()), loads.max())
    triangles = corners(points)
    crossings = []
    for a, b in np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]):
        if loads[a] == loads[b] == load:
            crossings += [speeds[a], speeds[b]]
        elif loads[a] != loads[b] and min(loads[a], loads[b]) <= load <= max(loads[a], loads[b]):
            share = (load - loads[a]) / (loads[b] - loads[a])
            crossings.append(speeds[a] + share * (speeds[b] - speeds[a]))
    found = np.unique(crossings)
    apart = np.diff(found, prepend=-np.inf) > SLACK * speeds.max()
    return found[apart]
