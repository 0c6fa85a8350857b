"""`--json` of every command: one document on standard output, finite numbers or null, units said with every number."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cases import CONFIGS
from tests.conftest import DEMO
from vibsim.cli import COMMANDS
from vibsim.results.hdf5 import write_results

EVEN = CONFIGS / "v3-80-trike-even.toml"
DRIVELINE = CONFIGS / "inline-4-van-driveline.toml"
# by command: words without --json; RUN is a results file, OUT a folder, SWEEP a file
WORDS: dict[str, tuple[object, ...]] = {
    "run": (DEMO, "-o", "OUT", "--no-figures"),
    "plot": ("RUN", "-o", "OUT"),
    "export": ("RUN", "--to", "json", "-o", "OUT/run.json", "--variable", "torque"),
    "report": ("RUN", "-o", "OUT/run.html"),
    "modes": (DEMO,),
    "mounts": (DEMO,),
    "fit": (CONFIGS / "mount-data" / "hydraulic-mount.csv", "--law", "hydraulic"),
    "statics": (DEMO,),
    "response": (DEMO,),
    "exposure": (DEMO,),
    "spectra": ("RUN",),
    "orders": ("RUN",),
    "colourmap": (DEMO,),
    "contributions": (DEMO,),
    "size": (
        *(DEMO, "--spec", CONFIGS / "sizing" / "v3-80-trike-seat.toml"),
        *("--evaluations", 300, "--no-runs", "--no-scatter"),
    ),
    "sweep": (DEMO, "--over", "run.load=0.3,0.35", "--workers", 1, "-o", "OUT/sweep.h5"),
    "balance": (DEMO,),
    "cure": (DEMO,),
    "loads": (DEMO,),
    "cycle": (DEMO,),
    "torque": (DEMO,),
    "flywheel": (DEMO, "--fluctuation", 0.015),
    "evenness": (DEMO, EVEN),
    "misfire": (DEMO, "--cycles", 20),
    "listen": ("RUN", "--sensor", "seat", "-o", "OUT/seat.wav"),
    "torsion": (DRIVELINE,),
    "tolerance": (DEMO, "--samples", 200),
    "map": (DEMO, "--points", 20),
    "search": (DEMO, "--step-deg", 5),
    "traces": (CONFIGS / "measured" / "single.toml",),
    "boost": (DEMO, "--speeds-rpm", 3000, 4000),
    "compare": (DEMO, EVEN, "--speeds-rpm", 4000),
    "new": (),
    "check": (DEMO,),
    "completion": ("bash",),
}
# more words of some commands, whose documents are others
MORE: list[tuple[object, ...]] = [
    ("sweep", DEMO, "--over", "run.load=0.3,0.35", "--dry-run"),
    ("plot", "SWEEP", "-o", "OUT"),
    ("exposure", "RUN"),
    ("balance", DEMO, "--explain", 40),
    ("response", DEMO, "--shake", "powertrain"),
    ("compare", "RUN", "RUN2"),
    ("new", "v3-80", "-o", "OUT/v3-80.toml"),
]
QUICK = {"mounts", "balance", "statics", "fit", "new", "check", "completion", "map", "export", "orders"}
UNITS = (
    "rpm N Nm m mm s ms Pa kPa bar Hz deg rad kg g mg K C V A J kJ W kW h hours seconds bytes cc kg_m2 N_m mm2 percent"
)
UNITS += " octane_numbers octave rate_Hz"
UNIT = re.compile(rf"(^|_)({'|'.join(UNITS.split())})($|_)|_per_")
SAYS = re.compile(r"^units?$|s_in$|octave_of$")  # a key that says the unit of what stands beside and below it
# what has no unit, by a word in its key; an octane number is one
PURE = (
    "order share ratio load factor fluctuation evenness efficiency exponent coefficient index residual tolerance "
    "direction directions damping energy strain shape greatest_over damping_ratio closure margin uneven confidence "
    "degrees_of_freedom multiplier evenness floquet scaled_by significant crest error harder error apparent turns "
    "percent duty real imaginary holzer roll_decoupling sum_less_total interval_over_even"
)


def numbers(
    node: Any, above: tuple[str, ...] = (), said: bool = False
) -> Iterator[tuple[tuple[str, ...], float, bool]]:
    """Every number that is not whole: the keys to it, and whether an object about it says its unit."""
    if isinstance(node, dict):
        said = said or any(SAYS.search(key) and isinstance(value, str | list | dict) for key, value in node.items())
        for key, value in node.items():
            yield from numbers(value, (*above, key), said)
    elif isinstance(node, list):
        for value in node:
            yield from numbers(value, above, said)
    elif isinstance(node, float):
        yield above, node, said


def has_unit(keys: tuple[str, ...]) -> bool:
    return any(UNIT.search(key) or any(word in key for word in PURE.split()) for key in keys)


@pytest.fixture(scope="session")
def run_file(tmp_path_factory: pytest.TempPathFactory, demo_results) -> Path:
    path = tmp_path_factory.mktemp("run") / "run.h5"
    write_results(demo_results, path)
    (path.parent / "run2.h5").write_bytes(path.read_bytes())
    return path


def check_document(words: tuple[object, ...], command, run_file: Path, folder: Path) -> None:
    code, out, err = call(words, command, run_file, folder, "--json")
    assert code == 0, err
    found = json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    for keys, value, unit_said in numbers(found):
        assert math.isfinite(value)
        assert unit_said or has_unit(keys), f"{'.'.join(keys)} = {value:g}: in what unit?"


def call(words: tuple[object, ...], command, run_file: Path, folder: Path, *more: str) -> tuple[int, str, str]:
    places = {"RUN": run_file, "RUN2": run_file.with_name("run2.h5"), "SWEEP": folder / "sweep.h5"}
    said = [str(places.get(str(word), str(word).replace("OUT", str(folder)))) for word in words]
    return command(*said, *more)


def test_every_command_is_tried():
    assert WORDS.keys() == COMMANDS.keys()


def test_a_number_without_a_unit_is_seen():
    found = {"a": {"amplitude": 1.5}, "b": {"amplitude": 1.5, "unit": "N"}, "mean_N": 1.5, "count": 2, "rms": [1.5]}
    left = ["/".join(keys) for keys, _, said in numbers(found) if not said and not has_unit(keys)]
    assert left == ["a/amplitude", "rms"]


@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in WORDS]
)
def test_json_is_one_document_with_units(name, command, run_file, tmp_path):
    check_document((name, *WORDS[name]), command, run_file, tmp_path)


@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in WORDS]
)
def test_quiet_is_silent_on_a_terminal_too(name, command, run_file, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    assert call((name, *WORDS[name]), command, run_file, tmp_path, "-q") == (0, "", "")


def test_every_console_heeds_no_color():
    """The two makers of consoles are held against NO_COLOR in test_batch; there is no third, and no escape by hand."""
    for path in (CONFIGS.parent / "vibsim").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert path.name in ("tables.py", "progress.py") or not re.search(r"\bConsole\(", text), path
        assert not re.search(r"\\x1b|\\033", text), path


@pytest.mark.slow
@pytest.mark.parametrize("words", MORE, ids=lambda words: " ".join(map(str, words[:1])))
def test_json_of_other_documents(words, command, run_file, tmp_path):
    if "SWEEP" in words:
        command("sweep", DEMO, "--over", "run.load=0.3,0.35", "--workers", 1, "-o", tmp_path / "sweep.h5", "-q")
    check_document(words, command, run_file, tmp_path)
