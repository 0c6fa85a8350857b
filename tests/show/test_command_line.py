"""Every command on the demo case, as a user types it."""

from __future__ import annotations

import json

import pytest

from tests.conftest import DEMO
from vibsim import __version__
from vibsim.cli import build_parser
from vibsim.results.hdf5 import write_results
from vibsim.results.labelled import Group

PNG = b"\x89PNG"


def test_run_writes_results_and_figures(tmp_path, command):
    code, out, err = command("run", DEMO, "--output", tmp_path)
    assert (code, err) == (0, "")
    assert (tmp_path / "v3-80-trike.h5").exists()
    figures = sorted((tmp_path / "v3-80-trike-figures").glob("*.png"))
    assert [path.name for path in figures] == ["mounts.png", "pressure.png", "sensors.png", "torque.png"]
    assert all(path.read_bytes().startswith(PNG) for path in figures)
    for words in (
        "front right",
        "handlebar",
        "Torque ripple",
        "settled after",
        "licensed practice",
        "4000 rpm",
        "wheels, gear 4",
    ):
        assert words in out


def test_run_json(tmp_path, command):
    code, out, _ = command("run", DEMO, "-o", tmp_path, "--no-figures", "--json")
    summary = json.loads(out)
    assert code == 0
    assert summary["run_kind"] == "steady"
    assert summary["cyclic"]["firing_evenness"] == 0.75
    assert len(summary["output"]) == 18  # soft and stiff, crank and two places in each of four gears
    assert summary["files"] == [str(tmp_path / "v3-80-trike.h5")]


def test_quiet_run_is_quiet(tmp_path, command):
    assert command("run", DEMO, "-o", tmp_path, "--no-figures", "-q") == (0, "", "")


def test_plot_remakes_the_figures(demo_results, tmp_path, command):
    write_results(demo_results, tmp_path / "demo.h5")
    code, out, _ = command("plot", tmp_path / "demo.h5", "--only", "run")
    assert code == 0
    assert "Torque and crank speed over a cycle" in out and "demo-figures/index.html" in out
    assert (tmp_path / "demo-figures" / "torque.png").read_bytes().startswith(PNG)


def test_figures_of_an_earlier_run_do_not_stay(demo_results, tmp_path, command):
    write_results(demo_results, tmp_path / "demo.h5")
    folder = tmp_path / "demo-figures"
    folder.mkdir()
    (folder / "notes.txt").write_text("mine")
    quiet = Group(demo_results.variables, demo_results.attributes, dict(demo_results.groups))
    del quiet.groups["spectra"]
    (folder / "sensors.png").write_bytes(b"old")
    write_results(quiet, tmp_path / "demo.h5")
    command("plot", tmp_path / "demo.h5", "--only", "run")
    assert sorted(item.name for item in folder.iterdir()) == [
        "index.html",
        "mounts.png",
        "notes.txt",
        "pressure.png",
        "torque.png",
    ]


def test_odd_names_are_shown_as_text(demo_text, tmp_path, command):
    text = demo_text.replace('name = "front left"', 'name = "a [/b] $x^$ [red]"').replace(
        "80° V3", "$x^$ {0} %s " + "long " * 40
    )
    path = tmp_path / "odd.toml"
    path.write_text(text, encoding="utf-8")
    for words in (["check", path], ["modes", path], ["run", path, "-o", tmp_path]):
        code, out, err = command(*words)
        assert (code, err) == (0, "")
    assert "a [/b] $x^$ [red]" in out


def test_schema_never_replaces_a_case(tmp_path, command):
    path = tmp_path / "case.toml"
    path.write_text("mine")
    code, _, err = command("check", "--schema", path)
    assert code == 2
    assert "must end in .json" in err
    assert path.read_text() == "mine"


def test_output_that_is_a_file(tmp_path, command):
    (tmp_path / "file").write_text("")
    code, _, err = command("run", DEMO, "-o", tmp_path / "file")
    assert code == 1
    assert "cannot be written" in err


def test_check_says_what_it_understood(command):
    code, out, _ = command("check", DEMO)
    assert code == 0
    for words in (
        "80° V, three cylinders",
        "intervals 360° / 180° / 180°",
        "1.860 (included)",
        "rear left",
        "progressive",
    ):
        assert words in out


def test_check_json(command):
    understood = json.loads(command("check", DEMO, "--json")[1])
    assert understood["firing_intervals_deg"] == pytest.approx([360.0, 180.0, 180.0], abs=1e-9)
    assert sum(mount["static_force_N"][2] for mount in understood["mounts"][4:]) == pytest.approx(
        402 * 9.80665, rel=1e-6
    )


def test_modes_lists_twelve(command):
    code, out, _ = command("modes", DEMO)
    assert code == 0
    assert "powertrain pitch" in out
    modes = json.loads(command("modes", DEMO, "--json")[1])["modes"]
    assert len(modes) == 12
    assert all(sum(sum(body.values()) for body in mode["energy"].values()) == pytest.approx(1.0) for mode in modes)


def test_run_that_does_not_settle_says_so(demo_text, tmp_path, command):
    path = tmp_path / "short.toml"
    path.write_text(demo_text + "settle_cycles = 5\n", encoding="utf-8")
    code, out, err = command("run", path, "-o", tmp_path, "--no-figures")
    assert code == 1
    assert "DID NOT SETTLE after 5 cycles" in out
    assert "did not settle: after 5 cycles" in err
    assert "run.settle_cycles" in err


def test_case_without_an_engine_cannot_run(tmp_path, command):
    path = tmp_path / "block.toml"
    path.write_text(
        """
[run]
speed_rpm = 1000
[[body]]
name = "block"
mass_kg = 100
centre_of_mass_mm = [0, 0, 0]
inertia_kg_m2 = [2, 4, 5, 0, 0, 0]
[[mount]]
name = "rod"
between = ["block", "ground"]
at_mm = [0, 0, 0]
stiffness_N_per_mm = [10, 10, 0]
""",
        encoding="utf-8",
    )
    code, _, err = command("run", path, "-o", tmp_path / "out")
    assert code == 2
    assert "engine: is missing" in err
    assert not (tmp_path / "out").exists()
    code, _, err = command("modes", path)
    assert code == 1
    assert "body 'block' is not held in Z" in err


@pytest.mark.parametrize("words", [["run"], ["shake", "case.toml"], ["run", "a.toml", "--bogus"], ["check"]])
def test_wrong_words_exit_with_two(words, command):
    code, out, err = command(*words)
    assert (code, out) == (2, "")
    assert "vibsim" in err


def test_version(command):
    assert command("--version")[1].strip() == f"vibsim {__version__}"


def test_help_names_every_command():
    text = build_parser().format_help()
    assert all(name in text for name in ("run", "plot", "modes", "check", "exit codes"))
