"""Elastic modes from files: a table of modes, and responses written as UFF by its library."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.flexible_cases import on_flexible
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.solver.packed import pack
from vibsim.structure.flexible import rigid_share

pyuff = pytest.importorskip("pyuff")

FREQUENCY = np.array([27.0, 36.0, 52.0, 190.0])  # Hz, the last beyond what is fitted
DAMPING = np.array([0.015, 0.02, 0.012, 0.02])
NODES = {"e1": 11, "e2": 12, "e3": 13, "seat": 14, "s1": 15, "s2": 16, "s3": 17, "s4": 18}
POINTS = [(node, direction) for node in NODES.values() for direction in (1, 2, 3)]
SHAPES = np.random.default_rng(4).normal(0.0, 0.06, (4, len(POINTS)))
SHAPES[:, 2] = np.abs(SHAPES[:, 2]) + 0.03  # the force, at 11 along z, drives every mode
HERTZ = np.arange(4.0, 110.0, 0.5)


def accelerance(noise: float) -> np.ndarray:
    """Of the modes and a free mass of 250 kg along the force (points, n)."""
    rate = 2.0 * math.pi * HERTZ
    total = np.zeros((len(POINTS), len(rate)), complex)
    for own, ratio, shape in zip(2.0 * math.pi * FREQUENCY, DAMPING, SHAPES, strict=True):
        total += np.outer(shape * shape[2], -(rate**2) / (own**2 - rate**2 + 2j * ratio * own * rate))
    total[2::3] += 1.0 / 250.0
    size = noise * np.abs(total).mean()
    random = np.random.default_rng(8)
    return total + size * (random.normal(size=total.shape) + 1j * random.normal(size=total.shape))


def write_uff(path: Path, data: np.ndarray, kind: int = 12) -> None:
    file = pyuff.UFF(str(path))
    for (node, direction), row in zip(POINTS, data, strict=True):
        sign = -1 if direction == 2 else 1
        item = pyuff.prepare_58(
            binary=0, func_type=4, rsp_node=node, rsp_dir=sign * direction, ref_node=11, ref_dir=3,
            data=sign * row, x=HERTZ, id1="demo", rsp_ent_name="body", ref_ent_name="body",
            abscissa_spacing=1, abscissa_spec_data_type=18, ordinate_spec_data_type=kind, orddenom_spec_data_type=13,
            return_full_dict=True,
        )  # fmt: skip
        blank = {key: "" if key[:2] == "id" or key[-3:] == "lab" else 0 for key, value in item.items() if value is None}
        file.write_sets(item | blank, "add")


def measured(path: Path, **changes):
    raw = on_flexible()
    del raw["body"][1]["mode"]
    table = {"frf_file": path.name, "node": NODES, "lowest_frequency_Hz": 10.0, "highest_frequency_Hz": 100.0}
    raw["body"][1]["modes"] = {**table, **changes}
    return pack(build_case(raw), path.parent)


@pytest.mark.parametrize(("noise", "close"), [(0.0, 1e-4), (0.02, 5e-3)])
def test_modes_come_back_from_a_uff_file(tmp_path, noise, close):
    """Round trip: known modes → accelerances → UFF → modes. The mode beyond the band is met by a residual alone; with
    noise of 2 % of the mean the error of the shapes is some 2 % over the root of the points at a peak."""
    write_uff(tmp_path / "body.uff", accelerance(noise))
    model = measured(tmp_path / "body.uff")
    modes = model.flexible.of(1)
    assert modes.frequency / (2.0 * math.pi) == pytest.approx(FREQUENCY[:3], rel=close)
    assert modes.damping == pytest.approx(DAMPING[:3], rel=max(2e-3, 4.0 * close))
    for k, name in enumerate(NODES):
        expected = SHAPES[:3, 3 * k : 3 * k + 3]
        assert modes.shapes[name] == pytest.approx(expected, abs=max(2e-3, 10.0 * close) * np.abs(SHAPES).max())
    assert any("rms of the responses" in note for note in model.mount_notes)


def test_mobility_and_receptance_are_taken_too(tmp_path):
    rate = 2j * math.pi * HERTZ
    write_uff(tmp_path / "body.uff", accelerance(0.0) / rate, kind=11)
    found = measured(tmp_path / "body.uff").flexible.of(1)
    assert found.frequency / (2.0 * math.pi) == pytest.approx(FREQUENCY[:3], rel=1e-4)


def test_mistakes_in_a_uff_file_are_named(tmp_path, monkeypatch):
    path = tmp_path / "body.uff"
    write_uff(path, accelerance(0.0))
    with pytest.raises(InputError, match="no response there"):
        measured(path, node=NODES | {"seat": 99})
    with pytest.raises(InputError, match="points from"):
        measured(path, lowest_frequency_Hz=10.0, highest_frequency_Hz=11.0)
    with pytest.raises(InputError, match="no such file"):
        measured(tmp_path / "other.uff")
    monkeypatch.setitem(sys.modules, "pyuff", None)
    with pytest.raises(InputError, match=r"pip install 'vibsim\[uff\]'"):
        measured(path)


def table(rows: list[str]) -> str:
    return "\n".join(["mode,frequency_Hz,damping_ratio,modal_mass_kg,point,x,y,z", *rows]) + "\n"


def from_table(folder: Path, text: str, **changes):
    (folder / "modes.csv").write_text(text)
    raw = on_flexible()
    del raw["body"][1]["mode"]
    raw["body"][1]["modes"] = {"file": "modes.csv", **changes}
    return pack(build_case(raw), folder)


def rows_of(raw: dict) -> list[str]:
    return [
        f"{n},{mode['frequency_Hz']},{mode['damping_ratio']},{mode['modal_mass_kg']},{name},{x},{y},{z}"
        for n, mode in enumerate(raw["body"][1]["mode"])
        for name, (x, y, z) in mode["shape"].items()
    ]


def test_a_table_of_modes_equals_the_same_in_the_case(tmp_path):
    raw = on_flexible()
    found = from_table(tmp_path, table(rows_of(raw)))
    expected = pack(build_case(raw), tmp_path)
    assert np.array_equal(found.model.mount_numbers, expected.model.mount_numbers)
    assert np.array_equal(found.model.flex.modes, expected.model.flex.modes)
    cut = from_table(tmp_path, table(rows_of(raw)), highest_frequency_Hz=50.0)
    assert cut.flexible.count == 1 and any("1 higher modes left out" in note for note in cut.mount_notes)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda rows: rows[:-1], "missing a shape at 's4'"),
        (lambda rows: [*rows, rows[-1]], "there twice"),
        (lambda rows: [rows[0].replace("32.0", "33.0"), *rows[1:]], "has 33 above"),
        (lambda rows: [row.replace(",32.0,", ",0,") for row in rows], "leave rigid-body modes out"),
    ],
)
def test_mistakes_in_a_table_are_named(tmp_path, change, words):
    with pytest.raises(InputError, match=words):
        from_table(tmp_path, table(change(rows_of(on_flexible()))))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda raw: raw["body"][1]["mode"][0]["shape"].pop("e1"), "missing a shape at 'e1'"),
        (lambda raw: raw["body"][1]["mode"][0]["shape"].update(e9=[0, 0, 1]), "no mount, sensor or point"),
        (lambda raw: raw["body"][1]["mode"][0]["shape"].update(e1=[0, 1]), "must have 3 entries"),
        (lambda raw: raw["body"][1]["mode"][0].update(frequency_Hz=0.0), "greater than 0"),
        (lambda raw: raw["body"][0].update(mode=raw["body"][1].pop("mode")), "carries the engine is taken as rigid"),
        (lambda raw: raw["body"][1].update(modes={"file": "a.csv"}), "keep one"),
    ],
)
def test_mistakes_in_modes_are_named(tmp_path, change, words):
    raw = on_flexible()
    change(raw)
    with pytest.raises(InputError, match=words):
        pack(build_case(raw), tmp_path)


def test_a_shape_that_is_rigid_motion_is_refused_or_warned_of(tmp_path):
    """Turn and shift of all points, at 0.2 Hz as computed for a free body, and at 20 Hz."""
    raw = on_flexible()
    places = {m["name"]: m["at_mm"] for m in raw["mount"]} | {"seat": raw["sensor"][0]["at_mm"]}
    shift, turn = np.array([0.1, 0, 0.2]), 1e-3 * np.array([0.2, 0.1, -0.1])
    turned = {name: (shift + np.cross(turn, at)).tolist() for name, at in places.items()}
    at = [1e-3 * np.array(place) for place in places.values()]
    assert rigid_share(at, list(turned.values())) < 1e-12
    raw["body"][1]["mode"][0] |= {"shape": turned, "frequency_Hz": 20.0}
    assert any("as a rigid body does" in line for line in pack(build_case(raw), tmp_path).remarks.warnings)
    raw["body"][1]["mode"][0]["frequency_Hz"] = 0.2
    with pytest.raises(InputError, match="leave rigid-body modes out"):
        pack(build_case(raw), tmp_path)


def test_modes_that_end_below_the_orders_of_the_run_are_warned_of(tmp_path):
    raw = on_flexible()
    raw["run"]["speed_rpm"] = 9000.0
    assert any("cut short" in line for line in pack(build_case(raw), tmp_path).remarks.warnings)
    raw["run"]["speed_rpm"] = 1500.0
    assert not pack(build_case(raw), tmp_path).remarks.warnings
