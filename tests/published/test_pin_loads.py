"""Piston effort, rod thrust, wall thrust, torque and bearing load of printed examples.

Sarkar, "Theory of Machines", chapter 5, as printed in FOSSEE Python-Textbook-Companions,
Theory_Of_Machines_by__B._K._Sarkar/Chapter5_1.ipynb (seen). They take the piston's acceleration as
r·ω²·(cos θ + cos 2θ/n), π as 3.141 and a radian as 57.3°.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.cases import single
from vibsim.engine.pin_loads import in_crank_frame
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.studies.loads import Loads, find_loads

FIGURES = 5e-4  # of a force: π and the radian of the printed examples
AMBIENT = 101325.0  # Pa


def loads_of(folder: Path, *, bore: float, radius: float, ratio: float, mass: float, force: float, rpm: float) -> Loads:
    """A single with a massless rod and a steady gas force (N) on the piston; m, kg."""
    pressure = AMBIENT + force / (0.25 * math.pi * bore**2)
    rows = "\n".join(f"{angle},{pressure}" for angle in range(0, 720, 10))
    (folder / "steady.csv").write_text(f"crank_angle_deg,pressure_Pa\n{rows}\n", encoding="utf-8")
    raw = single()
    sizes = {"bore_m": bore, "stroke_m": 2.0 * radius, "rod_length_m": ratio * radius}
    engine = {
        key: value for key, value in raw["engine"].items() if key not in ("bore_mm", "stroke_mm", "rod_length_mm")
    }
    engine |= sizes | {"rod": {"mass_g": 0.0}, "piston": {"mass_kg": mass}}
    raw["engine"] = engine | {"gas": {"source": "trace", "file": "steady.csv"}}
    raw["body"][0]["moving_parts"] = "separate"
    return find_loads(CaseFile(build_case(raw), "", folder, "case"), rpm * math.pi / 30.0)


def neglected(mass: float, radius: float, ratio: float, rpm: float) -> float:
    """What the two-term acceleration leaves out at most: λ³/4 in each of cos 2θ and cos 4θ, λ⁵ terms below λ⁵ (N)."""
    return mass * radius * (rpm * math.pi / 30.0) ** 2 * (0.5 * ratio**-3 + ratio**-5)


@pytest.mark.parametrize(
    ("given", "degrees", "weight", "net", "rod", "wall"),
    [
        pytest.param(
            {"bore": 0.1, "radius": 0.06, "ratio": 0.25 / 0.06, "mass": 1.2, "rpm": 1800.0, "pressure": 6.8e5},
            25.0, 1.2 * 9.81, 2639.3, 2652.9, 269.1, id="illustration 4, page 162",
        ),
        pytest.param(
            {"bore": 0.1, "radius": 0.06, "ratio": 4.0, "mass": 1.0, "rpm": 1800.0, "pressure": 8.0e5},
            32.0, 0.0, 4241.2, 4278.9, 566.8, id="illustration 5, page 163",
        ),
    ],
)  # fmt: skip
def test_wrist_pin_and_wall(given, degrees, weight, net, rod, wall, tmp_path):
    """The piston's weight, which the first example counts, is put into the gas force."""
    gas = given.pop("pressure") * 0.25 * math.pi * given["bore"] ** 2
    loads = loads_of(tmp_path, force=gas + weight, **given)
    n = round(2.0 * degrees)
    close = neglected(given["mass"], given["radius"], given["ratio"], given["rpm"]) + FIGURES * gas
    pin = loads.pins.total.wrist_pin[n, 0]
    assert close < 0.01 * net
    assert pin.real == pytest.approx(net, abs=close)
    assert abs(pin) == pytest.approx(rod, abs=close)
    assert -pin.imag == pytest.approx(wall, abs=close * wall / net)  # against the rotation in the working stroke


def test_torque_and_bearing_thrust(tmp_path):
    """Illustration 6, page 165, inertia left out: 4233.8 N m, and 16321.0 N along the throw on the bearings."""
    bore, force = 0.25, 0.25 * math.pi * (0.25**2 * 5.8e5 - (0.25**2 - 0.05**2) * 0.5e5)
    loads = loads_of(tmp_path, bore=bore, radius=1.6 * bore / 2.0, ratio=3.0, mass=0.0, force=force, rpm=180.0)
    force_on_pin = in_crank_frame(loads.pins.total.crankpin, loads.pins.pin_angle)[80, 0]
    assert force_on_pin.imag * 0.2 == pytest.approx(4233.8, rel=FIGURES)
    assert -force_on_pin.real == pytest.approx(16321.0, rel=FIGURES)
    assert np.abs(loads.bearings.total[80].sum()) == pytest.approx(abs(force_on_pin), rel=1e-12)


def test_two_bearings_of_a_centre_crank(tmp_path):
    """Chapter "Internal Combustion Engine Parts", page 1177 (text seen; Khurmi & Gupta, "A Textbook of Machine
    Design", from memory): 400 mm bore, 2.5 N/mm², bearings two bores apart, 314.2 kN on the piston, 157.1 kN on each
    bearing at dead centre."""
    loads = loads_of(tmp_path, bore=0.4, radius=0.3, ratio=5.0, mass=0.0, force=2.5e6 * math.pi * 0.04, rpm=100.0)
    # half a bore and a bit to either side where theirs stand a bore away: halfway is halfway
    assert loads.pins.total.wrist_pin[0, 0].real == pytest.approx(314.2e3, abs=50.0)  # their last figure is 100 N
    assert -loads.bearings.total[0] == pytest.approx([157.1e3, 157.1e3], abs=50.0)
