"""Pressure traces: units, coverage, the spline the solver reads, wrong files."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from tests.cases import single
from vibsim.engine.layout import resolve_layout
from vibsim.engine.packed_gas import cylinder_pressure
from vibsim.engine.pressure import Operating, pack_gas
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.trace import read_trace

CYCLE = 4.0 * math.pi


def _pressure(angle: np.ndarray) -> np.ndarray:
    """An invented smooth cycle, bar, peak after firing top dead centre (angle in degrees)."""
    angle = (angle + 360.0) % 720.0 - 360.0
    return 1.0 + 45.0 * np.exp(-(((angle - 14.0) / 35.0) ** 2)) + 0.1 * np.sin(np.radians(angle) / 2.0)


def _write(path: Path, angle: np.ndarray, header: str = "crank_angle_deg,pressure_bar") -> Path:
    rows = "\n".join(f"{a!r},{p!r}" for a, p in zip(angle.tolist(), _pressure(angle).tolist(), strict=True))
    path.write_text(f"# invented\n{header}\n{rows}\n", encoding="utf-8")
    return path


def _gas(folder: Path, table: dict, cylinders: int = 1):
    raw = single()
    raw["engine"]["gas"] = table | {"source": "trace"}
    raw["engine"]["cylinder"] = [
        {"name": str(n + 1), "pin_deg": 120.0 * n, "at_mm": 80.0 * n, "fires_at_deg": 240.0 * n}
        for n in range(cylinders)
    ]
    engine = build_case(raw).engine
    layout = resolve_layout(engine)
    return layout, pack_gas(engine, layout, [Operating(300.0, 1.0, folder)])


@pytest.mark.parametrize(
    "angle",
    [np.arange(-360.0, 360.0, 1.0), np.arange(0.0, 720.0, 0.5), np.arange(-180.0, 540.1, 1.0) + 0.3],
    ids=["from -360", "from 0", "both ends, off the degree"],
)
def test_curve_is_the_periodic_cubic_spline(angle, tmp_path):
    # reference: scipy CubicSpline, periodic, through the same points; equal to rounding of the shifted polynomials
    _, gas = _gas(tmp_path, {"file": _write(tmp_path / "p.csv", angle).name})
    last = angle[-1] - angle[0] > 719.9
    knots = np.radians(np.append(angle[:-1] if last else angle, angle[0] + 720.0))
    values = 1e5 * _pressure(np.degrees(knots))
    values[-1] = values[0]
    reference = CubicSpline(knots, values, bc_type="periodic")
    for theta in np.linspace(-20.0, 20.0, 401):
        # the crank's angle zero is the firing top dead centre of this cylinder
        expected = float(reference(knots[0] + (theta - knots[0]) % CYCLE))
        assert cylinder_pressure(0, theta, 300.0, gas) == pytest.approx(expected, rel=1e-9)


def test_uneven_spacing_is_allowed(tmp_path):
    angle = np.concatenate([np.arange(-360.0, -60.0, 5.0), np.arange(-60.0, 90.0, 0.5), np.arange(90.0, 360.0, 5.0)])
    _, gas = _gas(tmp_path, {"file": _write(tmp_path / "p.csv", angle).name})
    for degrees in (-59.5, 0.0, 14.0, 200.0):
        exact = 1e5 * float(_pressure(np.array(degrees)))
        # cubic between points 0.5 and 5 degrees apart on a curve of width 35 degrees
        assert cylinder_pressure(0, math.radians(degrees), 300.0, gas) == pytest.approx(exact, rel=1e-3)


def test_each_cylinder_may_have_its_own_file(tmp_path):
    angle = np.arange(-360.0, 360.0, 1.0)
    _write(tmp_path / "a.csv", angle)
    _write(tmp_path / "b.csv", np.arange(-360.0, 360.0, 2.0), "crank_angle_deg,pressure_MPa")
    layout, gas = _gas(tmp_path, {"file": "a.csv", "files": {"2": "b.csv"}}, cylinders=2)
    firing = [cylinder.firing for cylinder in layout.cylinders]
    assert cylinder_pressure(0, firing[0] + 0.2, 300.0, gas) == pytest.approx(
        1e5 * _pressure(math.degrees(0.2)), rel=1e-4
    )
    assert cylinder_pressure(1, firing[1] + 0.2, 300.0, gas) == pytest.approx(
        1e6 * _pressure(math.degrees(0.2)), rel=1e-4
    )


FULL = np.arange(-360.0, 360.0, 1.0)


@pytest.mark.parametrize(
    ("angle", "header", "words"),
    [
        (FULL, "crank_angle_deg,pressure", "pressure: the unit is missing"),
        (FULL, "crank_angle_deg,pressure_mm", "is not a pressure"),
        (FULL, "angle_deg,pressure_bar", "one column crank_angle_deg"),
        (FULL, "crank_angle_mm,pressure_bar", "is not an angle"),
        (FULL, "crank_angle_deg,pressure_Pa", "check the unit"),
        (FULL, "crank_angle_deg,pressure_MPa", None),
        (FULL, "crank_angle_rad,pressure_bar", "must cover one cycle of 720 deg"),
        (np.arange(-360.0, 0.0, 1.0), "crank_angle_deg,pressure_bar", "covers 359.0 deg"),
        (np.arange(-360.0, 500.0, 1.0), "crank_angle_deg,pressure_bar", "covers 859.0 deg"),
        (FULL[::-1], "crank_angle_deg,pressure_bar", "must rise"),
        (np.append(FULL[:400], FULL[399:]), "crank_angle_deg,pressure_bar", "does not after 39 deg"),
        (FULL[::40], "crank_angle_deg,pressure_bar", "at least 36"),
    ],
)  # fmt: skip
def test_wrong_traces(angle, header, words, tmp_path):
    path = _write(tmp_path / "p.csv", angle, header)
    if words is None:
        read_trace(path, CYCLE)
        return
    with pytest.raises(InputError, match=words):
        read_trace(path, CYCLE)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("crank_angle_deg,pressure_bar\n0,one\n", "line 2: pressure_bar: got 'one'"),
        ("crank_angle_deg,pressure_bar\n0\n", "got 'nothing'"),
    ],
)
def test_wrong_rows(text, words, tmp_path):
    (tmp_path / "p.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_trace(tmp_path / "p.csv", CYCLE)


def test_trace_that_does_not_close(tmp_path):
    angle = np.arange(-360.0, 361.0, 1.0)
    rows = "\n".join(f"{a},{1.0 + (a + 360.0) / 100.0}" for a in angle)
    (tmp_path / "p.csv").write_text(f"crank_angle_deg,pressure_bar\n{rows}\n", encoding="utf-8")
    with pytest.raises(InputError, match="a cycle must close"):
        read_trace(tmp_path / "p.csv", CYCLE)


def _file(path: Path, pressure: np.ndarray, angle: np.ndarray = FULL) -> Path:
    rows = "".join(f"{a},{p!r}\n" for a, p in zip(angle.tolist(), pressure.tolist(), strict=True))
    path.write_text(f"crank_angle_deg,pressure_bar\n{rows}", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("at", "size", "from_to"),
    [(-200, 4.0, "-200 to -199"), (30, 15.0, "30 to 31"), (90, -5.0, "90 to 91"), (300, 4.0, "300 to 301")],
)
@pytest.mark.parametrize("kind", ["step", "spike"])
def test_a_jump_is_named(at, size, from_to, kind, tmp_path):
    pressure = _pressure(FULL) + 8.0
    first = int(np.searchsorted(FULL, at)) + 1
    if kind == "step" and first < len(FULL):
        ramp = np.clip(np.arange(len(FULL)) - first, 0, 200) / 200.0  # the step decays, so that the cycle closes
        pressure[first:] += size * (1.0 - ramp[first:])
    elif kind == "step":
        pressure += size * np.clip((FULL + 100.0) / 460.0, 0.0, 1.0)
    else:
        pressure[first % len(FULL)] += size
    with pytest.raises(
        InputError, match=rf"engine.gas.file: .*p.csv': jumps by -?\d\.?\d* bar from {from_to} deg"
    ) as found:
        read_trace(_file(tmp_path / "p.csv", pressure), CYCLE)
    assert "of its swing in one step" in str(found.value)


@pytest.mark.parametrize("step", [0.5, 1.0, 3.0])
def test_steep_but_real_burning_is_no_jump(step, tmp_path):
    # invented: diesel knock, 60 bar in four degrees on 140 bar, then ringing by 8 bar in 6 degrees; common practice
    angle = np.arange(-360.0, 360.0, step)
    pressure = 1.0 + 80.0 * np.exp(-((angle / 40.0) ** 2)) + 60.0 / (1.0 + np.exp(-(angle - 4.0)))
    pressure -= 60.0 * np.clip((angle - 20.0) / 340.0, 0.0, 1.0)
    ringing = 8.0 * np.exp(-np.clip(angle - 8.0, 0.0, None) / 15.0) * np.sin(np.radians(60.0 * (angle - 8.0)))
    pressure += np.where(angle > 8.0, ringing, 0.0)
    read_trace(_file(tmp_path / "p.csv", pressure, angle), CYCLE)


def test_relative_pressures_want_pegging(tmp_path):
    path = _file(tmp_path / "p.csv", _pressure(FULL) - 1.5)
    with pytest.raises(InputError, match=r"must be positive \(or set pegging\)"):
        read_trace(path, CYCLE)
    assert read_trace(path, CYCLE, absolute=False).pressures.min() < 0.0
    with pytest.raises(InputError, match=r"swings by 4.*check the unit"):
        read_trace(_file(path, 1e-3 * _pressure(FULL)), CYCLE, absolute=False)


def test_a_hole_is_not_bridged(tmp_path):
    angles = np.radians(np.concatenate([np.arange(-360.0, -60.0), np.arange(140.0, 361.0)]))
    rows = [f"{np.degrees(angle):g},{2.0 + np.cos(angle):.6f}" for angle in angles]
    path = tmp_path / "hole.csv"
    path.write_text("\n".join(["crank_angle_deg,pressure_bar", *rows]), encoding="utf-8")
    with pytest.raises(InputError, match=r"has no points from -61 to 140 deg; a gap of the cycle cannot be guessed"):
        read_trace(path, 4.0 * np.pi)
