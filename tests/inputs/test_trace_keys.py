"""Keys of measured traces and the index of a folder: one clear line for each mistake."""

from __future__ import annotations

import math

import jsonschema
import pytest

from tests.cases import single
from tests.traces import engine_of, linear_map, write_folder
from vibsim.engine.traces import prepared_traces
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.schema import case_schema
from vibsim.inputs.trace_index import read_index

FILE = {"source": "trace", "file": "p.csv"}
LOW_PASS = {"smoothing": "low_pass", "smoothing_cut_off_order": 60}


def _case(gas: dict, **engine: object) -> dict:
    raw = single()
    raw["engine"] |= {"gas": gas} | engine
    return raw


@pytest.mark.parametrize(
    ("gas", "words"),
    [
        ({"source": "trace"}, "engine.gas.file: is missing; give file, folder, or files"),
        (FILE | {"folder": "map"}, "engine.gas.file: got 'p.csv'; folder names the traces already"),
        (FILE | {"files": {"9": "q.csv"}}, "engine.gas.files.9: got '9'; no such cylinder; allowed: 1"),
        (FILE | {"smoothing": "low_pas"}, "engine.gas.smoothing: got 'low_pas'; allowed: 'none', 'savitzky_golay'"),
        (FILE | {"smoothing": "low_pass"}, "engine.gas.smoothing_cut_off_order: is missing; smoothing low_pass needs"),
        (FILE | {"smoothing": "savitzky_golay"}, "engine.gas.smoothing_window_deg: is missing; smoothing savitzky"),
        (FILE | {"smoothing_cut_off_order": 60}, 'smoothing_cut_off_order: goes with smoothing = "low_pass"'),
        (FILE | LOW_PASS | {"smoothing_window_deg": 5}, 'smoothing_window_deg: goes with smoothing = "savitzky_golay"'),
        (FILE | {"smoothing_window_mm": 5}, "smoothing_window_mm: .* is not an angle"),
        (FILE | {"pegging": "intake"}, "engine.gas.intake_pressure_kPa: is missing; pegging intake needs it"),
        (FILE | {"intake_pressure_bar": 1}, 'engine.gas.intake_pressure_bar: goes with pegging = "intake"'),
        (FILE | {"pegging_exponent": 1.3}, 'engine.gas.pegging_exponent: goes with pegging = "polytropic"'),
        (FILE | {"pegging": "polytropic", "pegging_fit": "two_point"}, "pegging_exponent: is missing; pegging_fit two"),
        (FILE | {"pegging": "polytropic", "pegging_exponent": 3}, "pegging_exponent: got 3; must be at most 1.7"),
        (FILE | {"loss_angle_deg": 0.5}, "engine.gas.loss_angle_deg: goes with motored_file"),
        (FILE | {"loss_angle_deg": -0.5, "motored_file": "m.csv"}, "loss_angle_deg: got -0.5; must be at least 0"),
        (FILE | {"motored_file": "m.csv", "top_dead_centre_offset_deg": 1}, "top_dead_centre_offset_deg: motored_file"),
        (FILE | {"top_dead_centre_offset_deg": 50}, "top_dead_centre_offset_deg: got 50; must be at most 30.37 deg"),
        (FILE | {"compression_angles_deg": [-40, -110]}, "compression_angles_deg: .*must rise, between -360 and 0"),
        (FILE | {"expansion_angles_deg": [-10, 90]}, r"expansion_angles_deg: .*must rise, between 0 and 360 deg"),
        (FILE | {"expansion_angles_deg": [60]}, "expansion_angles_deg"),
        (FILE | {"peging": "intake"}, "engine.gas.peging: unknown key; did you mean pegging"),
    ],
)  # fmt: skip
def test_wrong_keys(gas, words):
    with pytest.raises(InputError, match=words):
        build_case(_case(gas))


def test_polytropic_pegging_wants_a_compression_ratio():
    with pytest.raises(InputError, match=r"engine.compression_ratio: is missing; engine.gas.pegging polytropic needs"):
        build_case(_case(FILE | {"pegging": "polytropic"}, compression_ratio=None))


def test_every_key_is_known_to_the_schema():
    validator = jsonschema.Draft202012Validator(case_schema())
    keys = {
        "source": "trace",
        "folder": "map",
        "motored_file": "m.csv",
        "loss_angle_deg": 0.7,
        "smoothing": "savitzky_golay",
        "smoothing_window_deg": 5.0,
        "pegging": "intake",
        "intake_pressure_kPa": 98.0,
        "intake_window_deg": 10.0,
        "compression_angles_deg": [-100, -50],
        "expansion_angles_rad": [1.0, 2.0],
    }
    raw = _case(keys)
    validator.validate(raw)
    gas = build_case(raw).engine.gas
    assert gas.loss_angle == pytest.approx(math.radians(0.7))
    assert gas.compression_angles == pytest.approx((math.radians(-100.0), math.radians(-50.0)))
    assert not validator.is_valid(_case(FILE | {"pegging": "some"}))


HEADER = "file,speed_rpm,load\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        (HEADER, "names no trace"),
        ("file;speed_rpm;load\n", "columns must be separated by commas"),
        ("file,speed_rpm\na.csv,3000\n", "must have one column load, has columns: file, speed_rpm"),
        ("file,speed,load\na.csv,3000,1\n", "column speed: the unit is missing; e.g. speed_rpm"),
        ("file,speed_mm,load\na.csv,3000,1\n", "unit 'mm' is not a rotational speed"),
        ("file,speed_rpm,load_percent\na.csv,3000,1\n", "unknown column 'load_percent'; allowed: file, speed_rpm"),
        ("file,speed_rpm,load,cyl\na.csv,3000,1,1\n", "unknown column 'cyl'"),
        (HEADER + "a.csv,fast,1\n", "line 2: speed_rpm: got 'fast'; must be a number"),
        (HEADER + "a.csv,3000\n", "line 2: load: got 'nothing'"),
        (HEADER + ",3000,1\n", "line 2: file: is missing"),
        (HEADER + "a.csv,0,1\n", "line 2: speed: got 0 rpm; must be greater than 0"),
        (HEADER + "a.csv,3000,35\n", "line 2: load: got 35; must be 0 to 1"),
        (HEADER + "a.csv,3000,nan\n", "line 2: load: got 'nan'"),
        (HEADER + "a.csv,3000,1\nb.csv,3000,1\n", "line 3: 'b.csv' is at the speed and load of 'a.csv'; keep one"),
        ("file,speed_rpm,load,intake_pressure_kPa\na.csv,3000,1,-20\n", "intake_pressure: got -2e\\+04 Pa"),
    ],
)
def test_wrong_index(text, words, tmp_path):
    (tmp_path / "index.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=rf"engine.gas.folder: .*index.csv': .*{words}"):
        read_index(tmp_path)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("gone.csv,6000,1\n", "engine.gas.folder: '.*gone.csv': no such file"),
        ("0.csv,3000,1,2\n", "index.csv: cylinder: got '2'; allowed: 1, or empty for all"),
    ],
)
def test_index_that_does_not_suit(more, words, tmp_path):
    write_folder(tmp_path / "map", linear_map([(3000.0, 0.5)]), more)
    index = tmp_path / "map" / "index.csv"
    if more.count(",") == 3:
        index.write_text(index.read_text().replace("load\n", "load,cylinder\n"), encoding="utf-8")
    engine, layout = engine_of({"source": "trace", "folder": "map"})
    with pytest.raises(InputError, match=words):
        prepared_traces(engine, layout, layout.cylinders[0], tmp_path)


def test_cylinder_without_a_trace(tmp_path):
    cylinders = [
        {"name": name, "pin_deg": 0.0, "at_mm": at, "fires_at_deg": 4.5 * at} for name, at in (("a", 0), ("b", 80))
    ]
    (tmp_path / "index.csv").write_text("file,speed_rpm,load,cylinder\np.csv,3000,1,a\n", encoding="utf-8")
    engine, layout = engine_of({"source": "trace", "folder": "."}, cylinder=cylinders)
    with pytest.raises(InputError, match="has no trace for cylinder 'b'"):
        prepared_traces(engine, layout, layout.cylinders[0], tmp_path)


def test_no_such_folder(tmp_path):
    with pytest.raises(InputError, match=r"engine.gas.folder: '.*nowhere': no such folder"):
        read_index(tmp_path / "nowhere")


def test_intake_pressure_is_wanted_in_the_case_or_the_index(tmp_path):
    write_folder(tmp_path / "map", linear_map([(3000.0, 0.5)]))
    engine, layout = engine_of({"source": "trace", "folder": "map", "pegging": "intake"})
    with pytest.raises(InputError, match=r"engine.gas.intake_pressure_kPa: is missing; .* or as a column of index.csv"):
        prepared_traces(engine, layout, layout.cylinders[0], tmp_path)
    index = tmp_path / "map" / "index.csv"
    index.write_text("file,speed_rpm,load,intake_pressure_kPa\n0.csv,3000,0.5,80\n", encoding="utf-8")
    found = prepared_traces(engine, layout, layout.cylinders[0], tmp_path)[0]
    assert found.level.added == pytest.approx(80e3 - 1e5, abs=2e3)  # the trace is at 1 bar there, within its ripple
