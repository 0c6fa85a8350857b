"""Sets of figures, the sentence on who is to blame, bands of speed, units of sweeps: what a reader sees."""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest
from matplotlib.figure import Figure
from numba import njit

from tests.conftest import DEMO
from vibsim import first_use
from vibsim.cli import _say_compiling
from vibsim.commands.run import _all_figures
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group
from vibsim.show import figure_sets
from vibsim.show.figure_sets import SETS
from vibsim.show.history_figures import cycle_band
from vibsim.show.long_record import draw_band, is_long
from vibsim.show.run_tables import _blame
from vibsim.solver.push_parts import Source
from vibsim.studies.blame import blame
from vibsim.studies.colour_map import ABOVE_MODES, SPARE, Mode, _highest
from vibsim.studies.contributions import PAST, Contributions
from vibsim.studies.exposure import results_exposure


def felt(part: np.ndarray, paths: tuple[str, ...]) -> Contributions:
    """What a seat feels of parts (orders, sources, paths, one axis)."""
    sources = tuple(Source(kind, "1") for kind in ("gas", "reciprocating")[: part.shape[1]])
    return Contributions(
        title="",
        sensor="seat",
        speed=100.0,
        orders=0.5 * np.arange(1, len(part) + 1),
        axes=("Z",),
        sources=sources,
        paths=paths,
        part=part,
        total=part.sum(axis=(1, 2)),
        gap=0.0,
        misfire="",
    )


def test_blame_is_what_the_parts_add_up_to() -> None:
    """Law: shares of one order and path are those of the mean square; by hand: order 1 has 0.9 + 0.1·..., see below."""
    part = np.zeros((2, 1, 4, 1), dtype=complex)
    part[0, 0, :, 0] = 0.0, 1.0, 0.0, 0.0
    part[1, 0, :, 0] = 3.0, 1.0, 2.0j, 0.0  # total 4 + 2j, of mean square 20 of 21
    found = blame(felt(part, ("left", "right", "rear", PAST)))
    assert (found.mounts, found.order) == (("left",), 1.0)
    assert found.share == pytest.approx(12.0 / 21.0)  # Re(3·(4 − 2j))
    assert found.words.startswith("mount left at order 1 makes 57 % of what seat feels, mostly by gas (100 %)")
    part[1, 0, 0, 0] = 1.0 + 1.0j  # total 2 + 3j of 14; the rear Re(2j·(2 − 3j)) = 6, then the left 2 + 3 = 5
    found = blame(felt(part, ("left", "right", "rear", PAST)))
    assert found.mounts == ("rear", "left") and found.share == pytest.approx(11.0 / 14.0)
    assert found.words.startswith("mounts rear and left at order 1 make 79 %")


def test_blame_past_the_mounts_and_what_cancels() -> None:
    part = np.zeros((1, 2, 2, 1), dtype=complex)
    part[0, :, :, 0] = [[0.0, 2.0], [0.0, -1.0]]
    found = blame(felt(part, ("left", PAST)))
    assert found.mounts == () and found.share == pytest.approx(1.0)
    assert (found.source_share, found.against_share) == (pytest.approx(2.0), pytest.approx(1.0))
    assert "what goes past the mounts at order 0.5 makes 100 %" in found.words and "(−100 %)" in found.words


def test_only_names_what_is_not_there(command, tmp_path, demo_results: Group) -> None:
    write_results(demo_results, tmp_path / "demo.h5")
    for words, message in (
        (("--only", "colourmap"), "--only colourmap: results: of a steady run; a colour map needs a run-up"),
        (("--of", "seat"), "--of: goes with a sweep; "),
        (("--limit", "nix"), "--limit: goes with a sweep; "),
        (("--only", "nix"), "argument --only: invalid choice: 'nix'"),
    ):
        code, _, err = command("plot", tmp_path / "demo.h5", *words)
        assert code == 2 and message in err, words
    code, out, _ = command("plot", tmp_path / "demo.h5", "--only", "exposure")
    assert code == 0 and "below the action value" in out
    from vibsim.commands.plot import SETS as WORDS

    assert tuple(SETS) == WORDS


def test_a_run_of_steps_is_exposure_too(demo_results: Group) -> None:
    """A record without torques of the whole run, as a programme has it, is judged by its record."""
    groups = {name: group for name, group in demo_results.groups.items() if name not in ("torque", "cycle")}
    found = results_exposure([Group(demo_results.variables, demo_results.attributes, groups)], ["day"], [8.0])
    assert found.points[0].speed == pytest.approx(4000.0 * math.pi / 30.0, rel=0.01)
    steady = results_exposure([demo_results], ["day"], [8.0])
    assert found.days[0].level == pytest.approx(steady.days[0].level, rel=0.1)


def history(time: np.ndarray, speed: np.ndarray, swing: float) -> Group:
    blocks = Group()
    blocks.add("block", ("block",), time, "s", "")
    for name, values in (("mean", speed), ("least", speed - swing), ("greatest", speed + swing)):
        blocks.add(f"crank_speed_{name}", ("block",), values, "rad s-1", "")
    return Group(attributes={"strokes": 4}, groups={"history": blocks})


def test_band_of_speed_holds_a_working_cycle() -> None:
    """A swing once a cycle shows whole at every moment though no block of the history has it whole."""
    mean = 120.0  # rad/s: a cycle of 4π/120 = 0.105 s, five blocks
    time = 0.02 * np.arange(200)
    swing = 15.0 * np.sin(0.5 * mean * time)
    found, middle, least, greatest = cycle_band(history(time, mean + swing, 0.5))
    inner = slice(10, -10)
    assert greatest[inner].min() > mean + 0.7 * 15.0 and least[inner].max() < mean - 0.7 * 15.0
    assert np.abs(middle[inner] - mean).max() < 4.0  # of a cycle that is no whole number of blocks
    assert len(found) == len(time)
    still = cycle_band(history(time, np.zeros(200), 0.0))
    assert not np.any(still[1:])


def test_map_reaches_strong_orders_and_the_modes_they_meet() -> None:
    speed, orders = np.array([100.0, 600.0]), np.array([0.5, 1.0, 2.0])
    size = np.array([[1.0, 0.5, 0.0], [0.4, 0.9, 0.19]])
    top = 600.0 / (2.0 * math.pi)
    assert _highest(None, speed, orders, size, ()) == pytest.approx(SPARE * top)
    assert _highest(None, speed, orders, size, (Mode(94.0, "a"), Mode(300.0, "b"))) == pytest.approx(ABOVE_MODES * 94.0)
    assert _highest(None, speed, orders, np.maximum(size, 0.21), ()) == pytest.approx(SPARE * 2.0 * top)
    assert _highest(50.0, speed, orders, size, ()) == 50.0


def test_some_of_a_long_record_is_read(tmp_path) -> None:
    results = history(np.arange(3.0), np.ones(3), 0.0)
    results.attributes["vibsim_format"] = 1
    results.add("time", ("time",), np.arange(4.0), "s", "")
    for name in ("crank_speed", "mount_force"):
        results.add(name, ("time",), np.arange(4.0), "1", "")
    write_results(results, tmp_path / "a.h5")
    assert set(read_results(tmp_path / "a.h5", record=False).variables) == set()
    assert set(read_results(tmp_path / "a.h5", record=("time", "crank_speed")).variables) == {"time", "crank_speed"}
    assert "mount_force" in read_results(tmp_path / "a.h5")


def test_compiling_is_said_once_to_a_terminal(monkeypatch, capsys) -> None:
    heard: list[int] = []
    monkeypatch.setattr(first_use, "listeners", [lambda: heard.append(1)])
    fresh = njit(lambda x: x + 1)
    assert fresh(1) == 2 and fresh(1.0) == 2.0  # compiled twice
    assert heard == [1]
    _say_compiling()
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    _say_compiling()
    assert "compiling what this needs, once after installing" in capsys.readouterr().err


def test_long_records_are_drawn_as_bands(demo_results: Group) -> None:
    """The band holds what the record holds. Over whole cycles a half order leaves no mean (sum of a sine); what is left
    is the points at the ends of a stretch: one of 450."""
    x = np.linspace(0.0, 10.0, 90_001)
    angle = 251.0 * x
    values = 2.0 + np.sin(0.5 * angle)
    axes = Figure().add_subplot()
    draw_band(axes, x, values, angle, 0, "net")
    line = axes.lines[0].get_ydata()
    assert np.abs(np.asarray(line) - 2.0).max() < 1.0 / 450.0
    low, high = axes.collections[0].get_datalim(axes.transData).intervaly
    assert (low, high) == (pytest.approx(1.0, abs=1e-3), pytest.approx(3.0, abs=1e-3))
    assert not is_long(demo_results)
    record = Group()
    record.add("crank_angle", ("time",), np.linspace(0.0, 1000.0, 10), "rad", "")
    assert is_long(record)


def test_run_draws_all_when_asked(command, demo_results: Group, tmp_path, monkeypatch) -> None:
    """Of a run of steps, whose record is in the file alone, what figures read comes from there."""
    monkeypatch.setattr(figure_sets, "SETS", {"exposure": SETS["exposure"]})
    target = tmp_path / "demo.h5"
    write_results(demo_results, target)
    slim = Group(attributes=demo_results.attributes, groups=demo_results.groups)
    paths, drawn = _all_figures(slim, target, tmp_path / "figures")
    assert [path.name for path in paths] == ["demo.h5", "exposure.png", "exposure-bands.png", "index.html"]
    assert "below the action value" in drawn.captions[tmp_path / "figures" / "exposure.png"]
    code, _, err = command("run", DEMO, "--all-figures", "--no-figures")
    assert code == 2 and "not allowed with argument" in err


def test_strongest_order_of_the_worst_sensor_has_its_part() -> None:
    """Law: an order of amplitude a has a²/2 of the mean square."""
    row = {"name": "seat", "rms_m_per_s2": 1.0, "orders": [{"order": 1.5, "amplitude": 1.0}]}
    assert _blame(row).startswith("seat: order 1.5 makes 50 % of its mean square")
