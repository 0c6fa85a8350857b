"""Wrong case files: exit code 2 and one clear line that names the key, what it got and what is allowed."""

from __future__ import annotations

import hashlib
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.cases import CONFIGS, single
from tests.conftest import DEMO
from vibsim.engine.layout import resolve_layout
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case, load_case, parse_case
from vibsim.solver.packed import pack

# what to replace in the demo case, by what, and words the message must have
WRONG = {
    "misspelt key": ("bore_mm", "boer_mm", ["engine.boer_mm", "did you mean bore_mm"]),
    "misspelt table": ("[engine.piston]", "[engine.pistn]", ["engine.pistn", "piston"]),
    "misspelt mount key": ("stiffness_N_per_mm = [140", "stifness_N_per_mm = [140", ["stifness_N_per_mm", "stiffness"]),
    "no unit": ("bore_mm", "bore", ["engine.bore", "unit is missing", "bore_mm"]),
    "wrong dimension": ("bore_mm", "bore_kg", ["engine.bore_kg", "not a length", "bore_mm"]),
    "unknown unit": ("mass_kg = 62.0", "mass_stonez = 62.0", ["body[1].mass_stonez", "unknown", "mass_kg"]),
    "angle as length": ("bank_deg = 40.0", "bank_mm = 40.0", ["bank_mm", "not an angle", "bank_deg"]),
    "twice in two units": ("bore_mm = 72.0", "bore_mm = 72.0\nbore_in = 2.8", ["engine.bore_in", "twice"]),
    "negative mass": ("mass_kg = 62.0", "mass_kg = -62.0", ["body[1].mass_kg", "-62", "greater than 0"]),
    "zero bore": ("bore_mm = 72.0", "bore_mm = 0.0", ["engine.bore_mm", "greater than 0"]),
    "not a number": ("bore_mm = 72.0", "bore_mm = nan", ["engine.bore_mm", "finite"]),
    "infinite": ("bore_mm = 72.0", "bore_mm = inf", ["engine.bore_mm", "finite"]),
    "text for number": ("bore_mm = 72.0", 'bore_mm = "72"', ["engine.bore_mm", "'72'", "number"]),
    "true for number": ("bore_mm = 72.0", "bore_mm = true", ["engine.bore_mm", "number"]),
    "number for text": ('name = "chassis"', "name = 3", ["body[2].name", "text"]),
    "negative stiffness": ("[140, 70, 95]", "[140, -70, 95]", ["mount[1].stiffness_N_per_mm[2]", "-70", "at least 0"]),
    "too few numbers": ("[140, 70, 95]", "[140, 70]", ["mount[1].stiffness_N_per_mm", "3 entries"]),
    "too many numbers": ("[140, 70, 95]", "[140, 70, 95, 1]", ["mount[1].stiffness_N_per_mm", "at most 3"]),
    "scalar for vector": ("[140, 70, 95]", "140", ["mount[1].stiffness_N_per_mm", "list of numbers"]),
    "five inertia entries": ("-0.12, 0.02]", "-0.12]", ["body[1].inertia_kg_m2", "6 entries"]),
    "impossible inertia": ("[1.55, 1.30, 1.75", "[1.55, 1.30, 17.5", ["body[1].inertia_kg_m2", "no real body"]),
    "negative inertia": ("[1.55, 1.30, 1.75", "[-1.55, 1.30, 1.75", ["body[1].inertia_kg_m2", "positive"]),
    "rod shorter than throw": ("rod_length_mm = 118.0", "rod_length_mm = 29.0", ["engine.rod_length_mm", "29.25 mm"]),
    "rod centre off the rod": (
        "centre_of_mass_mm = 36.0", "centre_of_mass_mm = 136.0",
        ["engine.rod.centre_of_mass_mm"],
    ),
    "three strokes": ("strokes = 4", "strokes = 3", ["engine.strokes", "2 or 4"]),
    "compression ratio below one": ("ratio = 11.5", "ratio = 0.9", ["engine.compression_ratio", "greater than 1"]),
    "no compression ratio": ("compression_ratio = 11.5", "", ["engine.compression_ratio", "missing", "cycle"]),
    "no such body": ('body = "powertrain"\norigin', 'body = "powertrian"\norigin', ["engine.body", "'powertrain'"]),
    "mount to nowhere": ('["ground", "chassis"]', '["grund", "chassis"]', ["mount[5].between", "'ground'"]),
    "mount to itself": ('["ground", "chassis"]', '["chassis", "chassis"]', ["mount[5].between", "two different"]),
    "sensor on nothing": (
        'body = "chassis"\nat_mm = [150', 'body = "seat"\nat_mm = [150',
        ["sensor[1].body", "chassis"],
    ),
    "body called ground": ('name = "chassis"', 'name = "ground"', ["body[2].name", "another name"]),
    "doubled mount name": ('name = "front right"', 'name = "front left"', ["mount[2].name", "already taken"]),
    "doubled cylinder name": ('name = "3"', 'name = "1"', ["engine.cylinder[3].name", "already taken"]),
    "unknown cylinder fires": ('["1", "3", "2"]', '["1", "3", "4"]', ["engine.firing_order", "'4'"]),
    "cylinder that never fires": ('["1", "3", "2"]', '["1", "3"]', ["engine.firing_order", "2"]),
    "cylinder fires twice": ('["1", "3", "2"]', '["1", "3", "2", "1"]', ["engine.firing_order", "once"]),
    "cylinder fires twice, another never": (
        '["1", "3", "2"]', '["1", "3", "1"]',
        ["engine.firing_order", "once, not so: 1, and it leaves out 2"],
    ),
    "firing order of numbers": ('["1", "3", "2"]', "[1, 3, 2]", ["engine.firing_order[2]: got 3", "text in quotes"]),
    "firing order in one word": ('["1", "3", "2"]', '"132"', ["engine.firing_order", "'132'", "must be a list"]),
    "firing order that comes round again": (
        "pin_deg = 100.0", "pin_deg = 280.0",
        ["engine.firing_order", "takes 720 deg", "one cycle of 720 deg"],
    ),
    "no pin": ("pin_deg = 100.0", "", ["engine.cylinder[2].pin_deg: is missing from '2'"]),
    "two cylinders in one place": (
        "at_mm = 58.0", "at_mm = -58.0",
        ["engine.cylinder[3].at_mm: got '-58 mm'", "cylinder '3' stands in cylinder '1'", "one place"],
    ),
    "cylinders that overlap": (
        "at_mm = 58.0", "at_mm = 10.0",
        ["engine.cylinder[3].at_mm", "overlaps cylinder '1'", "68 mm apart", "at least 72 mm"],
    ),
    "firing off dead centre": (
        "pin_deg = 100.0",
        "pin_deg = 100.0\nfires_at_deg = 200.0",
        ["fires_at_deg", "200", "220 deg"],
    ),
    "crank and reference along": (
        "reference_direction = [0, 0, 1]", "reference_direction = [0, 1, 0]",
        ["right angles"],
    ),
    "crank of no direction": (
        "crank_direction = [0, 1, 0]", "crank_direction = [0, 0, 0]",
        ["crank_direction", "zero"],
    ),
    "unknown law": ('law = "progressive"', 'law = "progresive"', ["mount[3].law", "did you mean progressive"]),
    "law key without its law": (
        'law = "progressive"',
        'law = "linear"',
        ["mount[3].doubling_deflection_mm", "unknown key"],
    ),
    "law without its key": ("doubling_deflection_mm = [8, 8, 6]", "", ["mount[3].doubling_deflection_mm", "missing"]),
    "unknown gas": ('source = "cycle"', 'source = "cylce"', ["engine.gas.source", "did you mean cycle"]),
    "load above one": ("load = 0.35", "load = 35", ["run.load", "at most 1"]),
    "steady at rest": ("speed_rpm = 4000", "speed_rpm = 0", ["run.speed_rpm", "greater than 0"]),
    "speed in kilograms": ("speed_rpm = 4000", "speed_kg = 4000", ["run.speed_kg", "rotational speed"]),
    "unknown run kind": ('kind = "steady"', 'kind = "stedy"', ["run.kind", "'steady', 'free', 'load_step', 'misfire'"]),
    "not TOML": ("bore_mm = 72.0", "bore_mm = = 72.0", ["not valid TOML", "line"]),
    "two keys alike": ("bore_mm = 72.0", "bore_mm = 72.0\nbore_mm = 72.0", ["not valid TOML"]),
    "unbalance for two throws": (
        "unbalance_kg_mm = 12.5", "unbalance_kg_mm = [1, 2]",
        ["engine.crank.unbalance", "3 throws"],
    ),
    "one main bearing": (
        "unbalance_kg_mm = 12.5",
        "main_bearings_at_mm = [3]",
        ["engine.crank.main_bearings_at_mm", "at least 2 entries"],
    ),
    "main bearings out of order": (
        "unbalance_kg_mm = 12.5", "main_bearings_at_mm = [-60, 20, 20]",
        ["engine.crank.main_bearings_at_mm", "-60, 20, 20 mm", "must rise from each bearing to the next"],
    ),
    "main bearings in grams": (
        "unbalance_kg_mm = 12.5", "main_bearings_at_g = [-60, 20]",
        ["engine.crank.main_bearings_at_g", "not a length"],
    ),
    "moving parts too heavy": ("mass_kg = 62.0", "mass_kg = 1.2", ["body[1] ('powertrain').mass", "1.86"]),
    "burn after exhaust opens": (
        'source = "cycle"',
        'source = "cycle"\nburn_start_deg = -10\nburn_duration_deg = 170',
        ["engine.gas.burn_start_deg, burn_duration_deg", "got -10 to 160 deg", "exhaust opening", "130 deg"],
    ),
    "trace without a file": (
        'source = "cycle"\nclosed_throttle_pressure_kPa = 28.0', 'source = "trace"',
        ["engine.gas.file"],
    ),
    "trace file absent": (
        'source = "cycle"\nclosed_throttle_pressure_kPa = 28.0',
        'source = "trace"\nfile = "nowhere.csv"',
        ["engine.gas.file", "nowhere.csv"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_wrong_case_names_the_key(name, demo_text, tmp_path, command):
    old, new, words = WRONG[name]
    assert old in demo_text
    path = tmp_path / "wrong.toml"
    path.write_text(demo_text.replace(old, new, 1), encoding="utf-8")
    code, out, err = command("check", path)
    assert code == 2
    assert out == ""
    for word in words:
        assert word in err
    assert "Traceback" not in err


def test_all_mistakes_are_reported_together(demo_text, tmp_path, command):
    text = demo_text.replace("bore_mm", "boer_mm").replace("load = 0.35", "load = 2").replace('"ground"', '"grund"')
    path = tmp_path / "wrong.toml"
    path.write_text(text, encoding="utf-8")
    code, _, err = command("run", path, "--output", tmp_path / "out")
    assert code == 2
    assert all(key in err for key in ("engine.boer_mm", "run.load", "mount[5].between", "mount[7].between"))
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"balance_shaft": [{"ratio": 0.75, "angle_deg": 0, "unbalance_kg_mm": 1}]},
            "shaft.1..ratio.*whole turns",
        ),
        ({"cylinder": [{"name": "a", "pin_deg": 0}, {"name": "b", "pin_deg": 0}]}, "cylinder.2..at_mm: is missing"),
        ({"rod": {"mass_g": 300}}, "engine.rod.centre_of_mass_mm: is missing"),
        ({"load": {"torque_N_m": 5}}, "engine.load.law: is missing; allowed: none, constant, road, dynamometer"),
        ({"gas": {"source": "cycle"}}, "run.speed_rpm: got '10 rpm'; gas source cycle"),
        ({"bore_mm": 10**400}, "engine.bore_mm"),
        ({"gas": {"source": "trace"}, "cylinder": [{"name": {}, "pin_deg": 0}]}, "cylinder.1..name"),
    ],
)
def test_engines_that_cannot_be(change, words):
    raw = single()
    raw["run"] |= {"kind": "steady", "speed_rpm": 10}
    raw["engine"] |= change
    with pytest.raises(InputError, match=words):
        build_case(raw)


@pytest.mark.parametrize(
    "valves",
    [
        {"intake_opens_deg": 350, "intake_closes_deg": 350},
        {"exhaust_opens_deg": 10, "exhaust_closes_deg": 700},
    ],
)
def test_valves_that_cannot_be(valves):
    raw = single()
    raw["engine"]["gas"] = {"source": "cycle"} | valves
    with pytest.raises(InputError, match=r"engine.gas.(intake|exhaust)_opens_deg"):
        pack(build_case(raw), CONFIGS)


def test_mistakes_of_the_resolved_engine_are_reported_together():
    raw = single()
    raw["engine"]["crank"]["unbalance_kg_mm"] = [1.0, 2.0]
    raw["engine"]["gas"] = {"source": "trace", "file": "nowhere.csv"}
    raw["body"][0]["mass_kg"] = 0.1
    with pytest.raises(InputError) as found:
        pack(build_case(raw), CONFIGS)
    assert [line.split(":")[0] for line in found.value.problems] == ["engine.crank.unbalance", "engine.gas.file"]


def test_too_many_points():
    raw = single()
    raw["run"] |= {"duration_s": 3600, "sample_rate_Hz": 1e6}
    with pytest.raises(InputError, match=r"run.duration_s: got '3600 s at 1e\+06 Hz'; .* 5,000,000 points"):
        build_case(raw)


def test_windows_text_file(tmp_path, demo_text):
    path = tmp_path / "case.toml"
    path.write_bytes(b"\xef\xbb\xbf" + demo_text.replace("\n", "\r\n").encode())
    case = load_case(path)
    assert case.case == parse_case(demo_text).case
    assert case.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_firing_order_that_cannot_close():
    raw = single()
    pins = {"a": 0.0, "b": 0.0, "c": 0.0}  # three at one pin angle need three turns, a four-stroke has two
    raw["engine"]["cylinder"] = [{"name": name, "pin_deg": pin, "at_mm": 100 * ord(name)} for name, pin in pins.items()]
    raw["engine"]["firing_order"] = list(pins)
    case = build_case(raw)
    with pytest.raises(InputError, match=r"engine.firing_order: got \['a', 'b', 'c'\].*720 deg"):
        resolve_layout(case.engine)


def test_single_table_where_a_list_is_meant():
    raw = single()
    raw["body"] = raw["body"][0]
    with pytest.raises(InputError, match=r"body: .* list of tables; write \[\[body\]\]"):
        build_case(raw)


def test_cylinders_are_held_apart_bank_by_bank():
    # a bore apart in one bank will do, banks may overlap along the crank, banks a turn apart are one
    raw = single()
    bore = raw["engine"]["bore_mm"]
    rows = [("1", 0.0, 0.0), ("2", 0.0, bore), ("3", 90.0, 0.0), ("4", 360.0, 0.0), ("5", -270.0, 0.6 * bore)]
    raw["engine"]["cylinder"] = [{"name": n, "pin_deg": 0.0, "bank_deg": bank, "at_mm": at} for n, bank, at in rows]
    with pytest.raises(InputError) as found:
        build_case(raw)
    assert [line.split(";")[1] for line in found.value.problems] == [
        " cylinder '4' stands in cylinder '1': one bank and one place",
        " cylinder '5' overlaps cylinder '3' of its bank: 43.2 mm apart, bores need at least 72 mm",
    ]


LINES = [
    (number, *re.split(r"\s*=\s*", line.split("#")[0].strip(), maxsplit=1))
    for number, line in enumerate(DEMO.read_text(encoding="utf-8").splitlines())
    if re.match(r"[a-zA-Z_0-9]+ = ", line)
]
NUMBERS = [item for item in LINES if re.match(r"[\[\d-]", item[2]) and '"' not in item[2]]
SUFFIXED = [item for item in NUMBERS if re.search(r"_(mm|kg|g|deg|rpm|N_per_mm|kPa|bar|s|Hz|kg_m2)$", item[1])]


def _corrupt(text: str, number: int, line: str) -> str:
    lines = text.splitlines()
    lines[number] = line
    return "\n".join(lines)


@settings(
    derandomize=True, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(line=st.sampled_from(LINES), data=st.data())
def test_any_misspelt_key_is_named(line, data, demo_text):
    number, key, value = line
    cut = data.draw(st.integers(0, len(key) - 1))
    wrong = key[:cut] + key[cut + 1 :] + "q"
    with pytest.raises(InputError, match=re.escape(wrong)):
        parse_case(_corrupt(demo_text, number, f"{wrong} = {value}"))


@settings(
    derandomize=True, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(
    line=st.sampled_from(NUMBERS),
    wrong=st.sampled_from(['"much"', "nan", "inf", "{}", '["a"]', "[[1.0]]", "1979-05-27"]),
)
def test_any_number_of_the_wrong_kind_is_named(line, wrong, demo_text):
    number, key, _ = line
    with pytest.raises(InputError, match=re.escape(key)):
        parse_case(_corrupt(demo_text, number, f"{key} = {wrong}"))


@settings(
    derandomize=True, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(line=st.sampled_from(SUFFIXED), suffix=st.sampled_from(["mol", "furlongz", "", "mm_per_per_s", "2", "cd_m"]))
def test_any_wrong_suffix_is_named_with_an_example(line, suffix, demo_text):
    number, key, value = line
    base = re.sub(r"_(mm|kg|g|deg|rpm|N_per_mm|N_s_per_mm|kPa|bar|s|Hz|kg_m2|kg_mm|kg_mm2|bar_per_rpm)$", "", key)
    wrong = f"{base}_{suffix}"
    with pytest.raises(InputError, match=rf"{re.escape(wrong)}.*{base}_"):
        parse_case(_corrupt(demo_text, number, f"{wrong} = {value}"))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: None, "no such file"),
        (lambda path: path.mkdir(), "is a folder"),
        (lambda path: path.write_bytes(b"\x89HDF\r\n\x1a\n\xff\xfe"), "holds results (HDF5), is no case"),
        (lambda path: path.write_text("\n"), "is empty"),
    ],
    ids=["absent", "folder", "results file", "empty"],
)
def test_what_is_no_case_file(make, words, tmp_path, command):
    make(tmp_path / "case.toml")
    code, _, err = command("check", tmp_path / "case.toml")
    assert code == 2
    assert words in err
