"""Colour maps of known signals, and the same case by its linear model, by runs and by its modes."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from tests.conftest import DEMO
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.post.colour_map import order_levels_as_map, short_time_levels, sweep_resolution
from vibsim.results.hdf5 import write_results
from vibsim.results.labelled import Group
from vibsim.studies.colour_map import map_of_case, map_of_record, map_of_runs, step_of_most_change
from vibsim.studies.modes import find_modes
from vibsim.studies.response import order_levels

RATE = 2000.0
TIME = np.arange(round(20.0 * RATE) + 1) / RATE
START, RISE = 1500.0 * math.pi / 30.0, 150.0 * math.pi / 30.0  # to 4500 rpm
ANGLE = START * TIME + 0.5 * RISE * TIME**2
RPM = 30.0 / math.pi


def chirps() -> np.ndarray:
    """Order 2 of amplitude 3 along X and 4 along Y, and a tone of 20 Hz of amplitude 2 along Z."""
    return np.stack(
        [3.0 * np.cos(2.0 * ANGLE), 4.0 * np.sin(2.0 * ANGLE), 2.0 * np.cos(2.0 * math.pi * 20.0 * TIME)], axis=1
    )


def test_chirp_and_tone_stand_where_they_belong_at_their_level() -> None:
    """A tone reads its amplitude but for the line's scalloping, at most 15 % of a Hann window (published: Harris 1978,
    1.42 dB). A chirp that moves one line in the window reads lower by its smear: from the phase π·r·n·t² of rate n·r
    under the window, integrated here, times the same scalloping."""
    lines = sweep_resolution(TIME, ANGLE)
    assert lines == pytest.approx(math.sqrt(2.0 * RISE / (2.0 * math.pi)), rel=0.01)
    found = short_time_levels(chirps(), ANGLE, TIME, 250.0, lines)
    assert found.speed[0] * RPM == pytest.approx(1500.0, abs=60.0)
    assert found.speed[-1] * RPM == pytest.approx(4500.0, abs=60.0)
    t = (np.arange(2001) - 1000) / 2000.0 / found.resolution
    window = 0.5 + 0.5 * np.cos(2.0 * math.pi * t * found.resolution)
    smear = abs(np.sum(window * np.exp(1j * RISE * t**2)) / window.sum())
    for row in (5, len(found.speed) // 2, -6):
        above = found.frequency > 35.0
        peak = int(np.argmax(np.where(above, found.level[row], 0.0)))
        # within a line, and what the speed moves over the row
        assert found.frequency[peak] == pytest.approx(2.0 * found.speed[row] / (2.0 * math.pi), abs=1.5 * lines)
        assert 0.80 * 5.0 * smear < found.level[row, peak] < 5.0 * smear * 1.001
        tone = found.level[row, ~above].max()
        assert 0.84 * 2.0 < tone < 2.001
    assert np.median(found.level) < 1e-3 * found.level.max()


def test_speeds_the_record_skips_stay_empty() -> None:
    still = np.concatenate([np.full(20000, 100.0), np.full(20001, 200.0)])
    angle = np.cumsum(still) / RATE
    found = short_time_levels(np.cos(angle)[:, None], angle, TIME, 100.0, 2.0)
    assert np.isnan(found.level[len(found.speed) // 2]).all() or np.isnan(found.level).any()
    assert not np.isnan(found.level[0]).any()


def test_lines_of_orders_are_those_of_a_hann_window() -> None:
    """Independent: the transform of a windowed cosine, all frequencies."""
    found = order_levels_as_map(np.array([100.0, 110.0]), np.array([1.0, 4.0]), np.array([[2.0, 1.0]] * 2), 80.0, 1.0)
    time = (np.arange(4096) + 0.5) / 4096.0  # one second: lines of 1 Hz
    window = 0.5 - 0.5 * np.cos(2.0 * math.pi * time)
    for k in (28, 31, 32, 34):
        frequency = found.frequency[k]
        parts = [
            a * abs(np.mean(window * np.exp(2j * math.pi * (order * 100.0 / (2.0 * math.pi) - frequency) * time))) * 2.0
            for order, a in ((1.0, 2.0), (4.0, 1.0))
        ]
        assert found.level[0, k] == pytest.approx(parts[0], abs=0.03)


def test_map_of_a_case_is_that_of_its_order_levels() -> None:
    """Law: cuts are the linear model's orders; the overall level is their power; modes are those with a free crank."""
    file, speeds = load_case(DEMO), np.linspace(2000.0, 4000.0, 5) / RPM
    found = map_of_case(file, speeds, "handlebar", "Z")
    expected = order_levels(file, speeds, (0.5, 1.0, 2.0)).sensor[:, :, 2, 2]
    np.testing.assert_allclose(found.rms[:, [0, 1, 3]], np.abs(expected) / math.sqrt(2.0), rtol=1e-12)
    np.testing.assert_allclose(found.overall**2, np.sum(found.rms**2, axis=1), rtol=1e-12)
    free = find_modes(file, "free").modes.frequency
    assert [mode.frequency for mode in found.modes] == pytest.approx(free.tolist(), rel=0.05)  # torque of the run in it
    peak = found.peaks(1)[0]
    assert peak["rms"] == pytest.approx(found.rms.max())


def test_map_of_steady_runs_is_near_the_linear_one(demo_results: Group) -> None:
    """Three runs that differ in speed by name alone stand in for a sweep: the middle one is the demo's own."""
    runs = []
    for share in (0.99, 1.0, 1.01):
        torque = demo_results.groups["torque"]
        speed = torque.attributes["mean_speed_rad_per_s"] * share
        copy = Group(torque.variables, torque.attributes | {"mean_speed_rad_per_s": speed}, torque.groups)
        groups = demo_results.groups | {"torque": copy}
        runs.append(Group(demo_results.variables, demo_results.attributes, groups))
    found = map_of_runs(runs[::-1], "seat")
    file = load_case(DEMO)
    linear = map_of_case(file, found.cut_speed, "seat")
    assert found.overall[1] == pytest.approx(linear.overall[1], rel=0.01)
    np.testing.assert_allclose(found.rms[1, :4], linear.rms[1, :4], atol=0.01 * found.overall[1])
    assert len(found.modes) == len(linear.modes)
    with pytest.raises(InputError, match="three at least"):
        map_of_runs(runs[:2], "seat")


def test_bad_words_say_what_is_allowed(command, tmp_path, demo_results: Group) -> None:
    with pytest.raises(InputError, match="of a steady run; a colour map needs a run-up"):
        map_of_record(demo_results, "seat")
    flat = 200.0 * TIME
    with pytest.raises(InputError, match="speed hardly changes"):
        short_time_levels(np.cos(flat)[:, None], flat, TIME, 100.0, 2.0)
    with pytest.raises(InputError, match=r"--resolution-Hz: got 0.01; must be"):
        short_time_levels(np.cos(flat)[:, None], flat, TIME, 100.0, 0.01)
    write_results(demo_results, tmp_path / "run.h5")
    for words, message in (
        ((DEMO, "--of", "seta"), "--of: got 'seta'; no such sensor or mount; did you mean seat?"),
        ((DEMO, "--speeds-rpm", 4000, 2000), "--speeds-rpm: got 4000 2000; must rise"),
        ((tmp_path / "run.h5", "--points", 9), "--points: goes with a case"),
        ((DEMO, tmp_path / "run.h5"), "run.h5; must be one case, one run-up"),
    ):
        code, _, err = command("colourmap", *words)
        assert code == 2
        assert message in err


def test_command_tells_and_draws(command, tmp_path) -> None:
    code, out, _ = command("colourmap", DEMO, "--of", "seat", "--points", 5, "-o", tmp_path, "--json")
    assert code == 0
    found = json.loads(out)
    assert "linear model" in found["how"]
    assert len(found["cuts"]) == 5
    assert (tmp_path / "colour-map.png").stat().st_size > 10_000
    assert "order_0.5" in (tmp_path / "order-cuts.csv").read_text(encoding="utf-8").splitlines()[0]
    code, out, _ = command("colourmap", DEMO, "--of", "rear left", "--points", 3)
    assert code == 0
    assert "Order cuts" in out


def test_programme_is_mapped_over_the_step_whose_speed_changes_most() -> None:
    step, speed = (
        np.repeat([0, 1, 2], 100),
        np.concatenate([np.full(100, 1.0), np.linspace(1, 9, 100), np.full(100, 9.0)]),
    )
    results = Group()
    results.add("time", ("time",), np.arange(300) / 100.0, "s", "time")
    results.add("step", ("time",), step, "1", "step")
    results.add("crank_speed", ("time",), speed, "rad s-1", "speed")
    results.add("mount", ("mount",), np.array(["a"], dtype=object), "1", "mount")
    kept, words = step_of_most_change(results)
    assert np.array_equal(kept["time"], results["time"][100:200]) and kept["mount"].shape == (1,)
    assert "1.0 to 2.0 s" in words
    assert step_of_most_change(Group())[1] == ""
