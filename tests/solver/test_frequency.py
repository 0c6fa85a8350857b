"""The frequency-domain model against closed forms: one and two masses on springs and dampers, in vehicle Z."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.cases import mount, packed
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.solver.frequency import frequency_model
from vibsim.solver.frequency_mounts import dynamic_stiffness
from vibsim.studies.response import Shake, force_response

MASS, NATURAL = 100.0, 10.0  # kg, Hz


def body(name: str, mass: float, height: float = 0.0) -> dict:
    return {"name": name, "mass_kg": mass, "centre_of_mass_mm": [0, 0, height], "inertia_kg_m2": [2, 3, 4, 0, 0, 0]}


def one_mass(damping_ratio: float) -> dict:
    """A mass on one mount at its centre and four soft ones that only keep it from turning."""
    rate = 2.0 * math.pi * NATURAL
    k, c = MASS * rate**2 / 4.0, 2.0 * damping_ratio * rate * MASS / 4.0
    corners = [(200, 150), (200, -150), (-200, 150), (-200, -150)]
    return {
        "body": [body("machine", MASS)],
        "mount": [
            mount(
                f"m{n}",
                between=["machine", "ground"],
                at_mm=[x, y, 0],
                stiffness_N_per_mm=[1e-3 * k] * 3,
                damping_N_s_per_mm=[1e-3 * c] * 3,
            )
            for n, (x, y) in enumerate(corners)
        ],
        "sensor": [{"name": "top", "body": "machine", "at_mm": [0, 0, 0]}],
    }


def case_file(raw: dict) -> CaseFile:
    return CaseFile(build_case(raw), "", Path(), "small")


# r, damping ratio, transmissibility: Den Hartog, Thomson, Rao; recomputed from the formula (shared checks, section 7)
PUBLISHED = [
    (math.sqrt(2.0), 0.3, 1.0),
    (1.0, 0.1, 5.099020),
    (2.0, 0.1, 0.355862),
    (3.0, 0.1, 0.145366),
    (5.0, 0.1, 0.058874),
    (1.0, 0.05, 10.049876),
    (3.0, 0.05, 0.130412),
]


@pytest.mark.parametrize(("ratio", "damping", "expected"), PUBLISHED)
def test_transmissibility_of_force_and_of_ground_motion(ratio, damping, expected):
    """The same number both ways. To 1e-4: stiffness by differences, weight turning with a body that does not turn."""
    file, frequency = case_file(one_mass(damping)), np.array([ratio * NATURAL])
    forced = force_response(file, frequency, Shake("machine", "Z"))
    assert abs(forced.passed[0]) == pytest.approx(expected, rel=1e-4)
    shaken = force_response(file, frequency, Shake("ground", "Z"))
    assert abs(shaken.sensor[0, 0, 2]) == pytest.approx(expected, rel=1e-4)


def test_mounts_on_shaking_ground_carry_the_mass_times_its_acceleration():
    """Law: what the mounts put on the body is all that accelerates it."""
    shaken = force_response(case_file(one_mass(0.1)), np.array([3.0, 17.0]), Shake("ground", "Z"))
    total = shaken.mount[:, :, 2].sum(axis=1)  # on the ground, the second body
    np.testing.assert_allclose(total, -MASS * shaken.sensor[:, 0, 2], rtol=1e-4)


def hysteretic(mount_keys, frequency, preload):
    return np.diag(np.array(mount_keys.stiffness) * (1.0 + 0.2j)).astype(complex)


def test_a_complex_stiffness_takes_the_place_of_spring_and_damper():
    """Closed form: k(1 + iη) gives |F_t/F| = √((1 + η²)/((1 − r²)² + η²)); the viscous damper in the case is out."""
    case, one = packed(one_mass(0.05))
    model = frequency_model(one, case.sensor, mounts=case.mount, stiffness_of=hysteretic)
    for ratio in (0.5, 1.0, 2.5):
        rate = 2.0 * math.pi * NATURAL * ratio
        moved = model.displacement(rate, model.force_at(0, np.zeros(3))[:, 2])
        found = abs(model.mounts(rate, moved)[:, 2].sum())
        assert found == pytest.approx(math.sqrt(1.04 / ((1.0 - ratio**2) ** 2 + 0.04)), rel=1e-4)


def test_the_law_of_a_mount_gives_what_the_linear_model_has():
    """Reference: a turned progressive mount under weight and side load, its tangent by the law and by differences."""
    raw = one_mass(0.1)
    raw["mount"] += [
        mount(
            "odd",
            between=["machine", "ground"],
            at_mm=[120, 30, -80],
            axes_deg=[20, -35, 10],
            law="progressive",
            doubling_deflection_mm=[1, 2, 1.5],
            damping_N_s_per_mm=[0.3, 0.2, 0.5],
        )
    ]
    case, one = packed(raw)
    plain = frequency_model(one, case.sensor, mounts=case.mount)
    by_law = frequency_model(one, case.sensor, mounts=case.mount, stiffness_of=lambda *keys: dynamic_stiffness(*keys))
    assert len(plain.special) == 0 and len(by_law.special) == 5
    for rate in (10.0, 120.0):
        # differences leave 1e-6 of the greatest stiffness
        size = np.abs(plain.dynamic_stiffness(rate)).max()
        np.testing.assert_allclose(by_law.dynamic_stiffness(rate), plain.dynamic_stiffness(rate), atol=1e-6 * size)


def absorber(mass_ratio: float, tuning: float, damping: float) -> dict:
    """A mass on a spring to ground with a smaller one on top; damping c/(2·m_a·ω₁)."""
    raw = one_mass(0.0)
    rate, small = 2.0 * math.pi * NATURAL, MASS * mass_ratio
    k, c = small * (tuning * rate) ** 2 / 4.0, damping * 2.0 * small * rate / 4.0
    raw["body"].append(body("absorber", small))
    raw["mount"] += [
        mount(
            f"a{n}",
            between=["absorber", "machine"],
            at_mm=[x, y, 0],
            stiffness_N_per_mm=[1e-3 * k] * 3,
            damping_N_s_per_mm=[1e-3 * c] * 3,
        )
        for n, (x, y) in enumerate([(200, 150), (200, -150), (-200, 150), (-200, -150)])
    ]
    return raw


@pytest.mark.parametrize(("mass_ratio", "fixed", "greatest"), [(0.1, 4.58258, 4.59022), (0.25, 3.0, 3.01220)])
def test_den_hartogs_absorber(mass_ratio, fixed, greatest):
    """Optimum tuning 1/(1 + μ), damping √(3μ/8(1 + μ)³): peak X·k/F just above √(1 + 2/μ) (Den Hartog; Brock 1946; the
    true maximum from a sweep, shared checks section 7)."""
    damping = math.sqrt(3.0 * mass_ratio / (8.0 * (1.0 + mass_ratio) ** 3))
    file = case_file(absorber(mass_ratio, 1.0 / (1.0 + mass_ratio), damping))
    frequencies = np.linspace(0.6, 1.4, 400) * NATURAL
    found = force_response(file, frequencies, Shake("machine", "Z"))
    moved = np.abs(found.sensor[:, 0, 2]) / (2.0 * math.pi * frequencies) ** 2
    peak = moved.max() * MASS * (2.0 * math.pi * NATURAL) ** 2
    assert peak == pytest.approx(greatest, rel=3e-4)
    assert peak > fixed


def test_bad_questions_get_one_line():
    file = case_file(one_mass(0.1))
    with pytest.raises(InputError, match=r"^--shake: got 'machin'; no such body; did you mean machine\?$"):
        force_response(file, np.array([1.0]), Shake("machin", "Z"))


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--speeds-rpm", "3000", "2000"), "--speeds-rpm: got 3000 2000; must rise, more than 0"),
        (("--along", "X"), "--along: goes with --shake"),
        (("--orders", "0.3", "--points", "2"), "--orders: got 0.3; must be more than 0, at most 12, in steps of 0.5"),
        (("--shake", "ground", "--at-mm", "0", "0", "1"), "--at-mm: goes with a body; got --shake ground"),
    ],
)
def test_bad_options_get_one_line(command, words, line):
    code, _, said = command("response", Path("configs/v3-80-trike.toml"), *words)
    assert code == 2 and said.startswith(f"vibsim: {line}") and said.count("\n") == 1


def test_the_command_writes_figure_and_table(command, tmp_path):
    words = ("configs/v3-80-trike.toml", "--points", "3", "--orders", "1", "-o", tmp_path)
    code, said, _ = command("response", *words)
    assert code == 0 and "seat" in said
    assert {path.name for path in tmp_path.iterdir()} == {"orders.png", "orders.csv"}
    lines = (tmp_path / "orders.csv").read_text().splitlines()
    assert len(lines) == 1 + 3 * (3 + 7)  # speeds by sensors and mounts


def test_a_force_here_moves_there_as_one_there_moves_here():
    """Law (Maxwell–Betti, dynamic): receptances between two points are the same both ways, without weight or crank."""
    raw = absorber(0.2, 0.9, 0.1)
    raw["mount"][0] |= {"axes_deg": [30, 10, -50], "stiffness_N_per_mm": [300.0, 50.0, 120.0]}
    raw["run"] = {"speed_rpm": 1000, "gravity": False}
    places = {"machine": [150, -40, 90], "absorber": [-20, 60, 30]}
    raw["sensor"] = [{"name": name, "body": name, "at_mm": at} for name, at in places.items()]
    file, frequencies = case_file(raw), np.array([4.0, 9.7, 31.0])
    machine, above = (tuple(1e-3 * x for x in places[name]) for name in places)
    there = force_response(file, frequencies, Shake("machine", "X", machine)).sensor[:, 1, 1]
    here = force_response(file, frequencies, Shake("absorber", "Y", above)).sensor[:, 0, 0]
    # differences leave 1e-9 of the stiffness
    np.testing.assert_allclose(there, here, rtol=1e-6)
