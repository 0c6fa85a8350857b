"""Pictures of the mechanism: what is drawn is what is computed, and files are whole or absent."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from PIL import Image

from tests.cases import skewed
from tests.conftest import DEMO
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.show.animation import Film, animate, crank_angles
from vibsim.show.front_view import FrontView
from vibsim.show.mechanism_parts import Arrows, nice
from vibsim.show.mechanism_scene import make_scene
from vibsim.show.side_view import ABOVE, SIDE, SideView, best_look
from vibsim.show.style import new_figure
from vibsim.studies.balance import Balance, find_balance
from vibsim.studies.new_case import new_case

LAYOUTS = ("single", "inline-4", "v8-cross", "flat-2", "v3-80")


def _case_file(layout: str) -> CaseFile:
    raw = skewed() if layout == "skewed" else tomllib.loads(new_case(layout, 700.0))
    return CaseFile(build_case(raw), "", Path(), layout)


def _balance(layout: str) -> tuple[CaseFile, Balance]:
    case_file = _case_file(layout)
    return case_file, find_balance(case_file)


def _axes() -> Axes:
    return new_figure(5.0, 5.0, "").add_axes((0.0, 0.0, 1.0, 1.0))


def _vectors(arrows: Arrows) -> np.ndarray:
    """Drawn arrows (k), complex, from tail to tip."""
    shafts, heads = arrows.artists
    tails = [complex(*path.vertices[0]) for path in shafts.get_paths()]
    tips = [complex(*path.vertices[0]) for path in heads.get_paths()]
    return np.array(tips) - np.array(tails)


@pytest.mark.parametrize("layout", [*LAYOUTS, "skewed"])
def test_drawn_arrows_add_up_to_the_drawn_sum(layout):
    # law: the sum of all arrows but those of the couple is the arrow of the sum, in both views, at the common scale.
    # An arrow shorter than a thousandth of a head is left out
    case_file, balance = _balance(layout)
    scene = make_scene(case_file.case.engine, balance, np.radians([17.0, 200.0]))
    for view in (FrontView(_axes(), scene), SideView(_axes(), scene, SIDE), SideView(_axes(), scene, ABOVE)):
        for n in range(2):
            view.move(n)
            cylinder, weight, shaft, *_, total = (_vectors(arrows).sum() for arrows in view._arrows)
            assert cylinder + weight + shaft == pytest.approx(total, abs=1e-3 * scene.radius)
    assert abs(view._arrows[0].artists[0].get_paths()[0].vertices).max() < 1.0  # metres


def test_front_view_turns_anticlockwise_with_the_reference_direction_up():
    case_file, balance = _balance("single")
    scene = make_scene(case_file.case.engine, balance, np.radians([0.0, 10.0]))
    view = FrontView(_axes(), scene)
    drawn = []
    for n in range(2):
        view.move(n)
        drawn.append(complex(*view._arms.get_paths()[0].vertices[-1]))
    assert drawn[0] == pytest.approx(1j * scene.radius)
    assert drawn[1] / drawn[0] == pytest.approx(np.exp(1j * math.radians(10.0)))


@pytest.mark.parametrize("layout", [*LAYOUTS, "skewed"])
def test_everything_drawn_is_in_sight(layout):
    case_file, balance = _balance(layout)
    scene = make_scene(case_file.case.engine, balance, crank_angles(0.0, 1, 24))
    for make in (lambda axes: FrontView(axes, scene), lambda axes: SideView(axes, scene, best_look(balance.layout))):
        axes = _axes()
        view = make(axes)
        (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
        for n in range(24):
            view.move(n)
            for arrows in view._arrows:
                tips = np.array([path.vertices[0] for path in arrows.artists[1].get_paths()]).reshape(-1, 2)
                assert np.all((tips >= (left, low)) & (tips <= (right, high)))


def test_cylinders_that_move_together_are_one_arrow():
    case_file, balance = _balance("inline-4")
    scene = make_scene(case_file.case.engine, balance, np.zeros(3))
    assert scene.together == [(0, 3), (1, 2)]
    assert scene.weights == [(0, 3), (1, 2)]
    assert scene.per_newton_metre == 0.0  # an inline four has no couple


def test_views_from_above_for_flat_engines():
    assert best_look(_balance("flat-2")[1].layout) == ABOVE
    assert all(best_look(_balance(layout)[1].layout) == SIDE for layout in ("single", "v8-cross", "v3-80"))


def test_film_covers_whole_turns_from_the_claimed_angle():
    angles = crank_angles(0.5, 2, 16)
    assert angles[0] == 0.5
    assert np.diff(angles) == pytest.approx([4.0 * math.pi / 16] * 15)
    assert angles[-1] + 4.0 * math.pi / 16 == pytest.approx(0.5 + 4.0 * math.pi)


def test_second_picture_needs_no_trace_of_the_first():
    # restoring the still part must give what drawing anew gives
    case_file, balance = _balance("v3-80")
    angles = crank_angles(0.0, 1, 12)
    film = Film(make_scene(case_file.case.engine, balance, angles), "title", SIDE)
    film._draw(7)
    again = film._draw(3).copy()
    fresh = Film(make_scene(case_file.case.engine, balance, angles), "title", SIDE)._draw(3)
    assert np.array_equal(again, fresh)


def test_command_writes_film_and_frames(tmp_path, command):
    (tmp_path / "frames").mkdir()
    (tmp_path / "frames" / "frame-050.png").write_bytes(b"of an earlier and longer film")
    (tmp_path / "frames" / "notes.txt").write_text("mine")
    code, out, err = command("balance", DEMO, "-o", tmp_path, "--animation", "--frames", 12, "--explain", 40, "--json")
    assert (code, err) == (0, "")
    names = [Path(path).name for path in json.loads(out)["files"]]
    assert names == ["balance.png", "timing.png", "balance.csv", "explain.png", "mechanism.gif", "frames"]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names)
    frames = sorted(path.name for path in (tmp_path / "frames").iterdir())
    assert frames == [*(f"frame-{n:03d}.png" for n in range(12)), "notes.txt"]
    with Image.open(tmp_path / "mechanism.gif") as film, Image.open(tmp_path / "frames" / "frame-011.png") as last:
        assert film.n_frames == 12
        assert film.info["loop"] == 0
        film.seek(11)
        assert np.array_equal(np.asarray(film.convert("RGB")), np.asarray(last.convert("RGB")))


def test_shafts_that_need_two_turns(tmp_path):
    case_file, balance = _balance("skewed")
    assert balance.about_crank.turns == 2
    animate(case_file.case.engine, balance, None, "title", tmp_path, 12, lambda *_: None)
    with Image.open(tmp_path / "mechanism.gif") as film:
        assert film.n_frames == 12
        assert film.info["duration"] == 600  # two turns of 3.6 s in twelve pictures


def test_stopped_film_leaves_what_was_there(tmp_path):
    case_file, balance = _balance("single")
    (tmp_path / "mechanism.gif").write_bytes(b"old")

    def stop(_phase: str, done: float, _total: float) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        animate(case_file.case.engine, balance, None, "title", tmp_path, 12, stop)
    assert [path.name for path in tmp_path.iterdir()] == ["mechanism.gif"]
    assert (tmp_path / "mechanism.gif").read_bytes() == b"old"


def test_folder_that_is_a_file(tmp_path, command):
    (tmp_path / "file").write_text("mine")
    code, _, err = command("balance", DEMO, "-o", tmp_path / "file", "--animation", "--frames", 12)
    assert code == 1
    assert "cannot be written" in err
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--animation"], "--animation: has nowhere to write to; give a folder with -o FOLDER"),
        (["--animation", "-o", "x", "--frames", "11"], "--frames: got 11; must be 12 to 360"),
        (["--animation", "-o", "x", "--frames", "361"], "--frames: got 361; must be 12 to 360"),
        (["-o", "x", "--frames", "72"], "--frames: got 72; is for --animation, which is not given"),
        (["-o", "x", "--view", "above"], "--view: got above; is for --animation, which is not given"),
        (["--explain", "nan"], "--explain: got nan; must be a crank angle in degrees"),
    ],
)
def test_wrong_options(words, complaint, tmp_path, monkeypatch, command):
    monkeypatch.chdir(tmp_path)
    code, out, err = command("balance", DEMO, *words)
    assert (code, out) == (2, "")
    assert err.strip() == f"vibsim: {complaint}"
    assert list(tmp_path.iterdir()) == []


def test_scale_bars_are_round_numbers():
    assert [nice(value) for value in (0.034, 1.0, 4.9, 5.0, 1234.0)] == [0.02, 1.0, 2.0, 5.0, 1000.0]
