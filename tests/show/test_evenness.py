"""Even and uneven firing side by side, flywheel and misfire: what theory says, the commands, their complaints."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from matplotlib.image import imread
from scipy.io import wavfile

from tests.cases import CONFIGS, without_engine
from tests.conftest import DEMO
from vibsim.engine.layout import resolve_layout
from vibsim.inputs.loader import load_case
from vibsim.inputs.variation_models import Misfire
from vibsim.post.detection import detection_of, speed_changes
from vibsim.post.orders import orders_of
from vibsim.post.tooth_wheel import Wheel
from vibsim.solver.crank_torque import torque_course
from vibsim.solver.packed import pack
from vibsim.solver.varied import with_misfire
from vibsim.studies.evenness import weighted_rms
from vibsim.studies.misfire import misfire_visibility

EVEN = CONFIGS / "v3-80-trike-even.toml"
SPEED = 4000.0 * math.pi / 30.0


def test_even_case_is_the_trike_with_another_crank() -> None:
    even, plain = (load_case(path).case for path in (EVEN, DEMO))
    assert even.engine is not None
    assert plain.engine is not None
    changed = even.engine.model_copy(update={"cylinder": plain.engine.cylinder})
    assert changed == plain.engine
    assert even.model_copy(update={"engine": None, "case": plain.case}) == plain.model_copy(update={"engine": None})
    np.testing.assert_allclose(np.degrees(resolve_layout(even.engine).firing_intervals()), 240.0)
    assert [(c.bank, c.at) for c in even.engine.cylinder] == [(c.bank, c.at) for c in plain.engine.cylinder]


def test_misfire_of_an_even_engine_raises_exactly_the_half_orders_its_firing_hides() -> None:
    """Theory: three alike cylinders 240° apart leave multiples of 3/2 alone. Without one of them every other half order
    k/2 has the size of that cylinder's own phasor, and multiples of 3/2 have two thirds of what they had, as far as
    they come from burning; all of it in gas torque. With one cycle in two the quarter orders come, half as large."""
    case_file = load_case(EVEN)
    packed = pack(case_file.case, case_file.folder)
    whole = torque_course(packed, SPEED).gas
    run = case_file.case.run
    assert run is not None

    def missing(every: int) -> np.ndarray:
        misfire = Misfire(cylinder="2", every=every)
        broken = with_misfire(packed, run.model_copy(update={"misfire": misfire}))
        return torque_course(broken, SPEED).gas

    plain, dead = (orders_of(torque, 2.0, 2.0) for torque in (whole, missing(1)))
    lost = orders_of(whole - missing(1), 2.0, 2.0)
    hidden = np.arange(1, len(plain.order)) % 3 != 0
    scale = dead.amplitude[1:].max()
    assert plain.amplitude[1:][hidden].max() < 1e-9 * scale
    np.testing.assert_allclose(dead.amplitude[1:][hidden], lost.amplitude[1:][hidden], atol=1e-9 * scale)
    assert dead.amplitude[1] > 0.2 * scale
    phasor = plain.amplitude * np.exp(1j * plain.phase) - lost.amplitude * np.exp(1j * lost.phase)
    np.testing.assert_allclose(np.abs(phasor), dead.amplitude, atol=1e-9 * scale)
    other = orders_of(missing(2), 4.0, 4.0)
    quarters = np.arange(1, 20, 2)
    assert other.order[1] == 0.25
    assert other.amplitude[quarters].max() > 0.05 * scale
    np.testing.assert_allclose(other.amplitude[2:20:2][hidden[:9]], 0.5 * lost.amplitude[1:10][hidden[:9]], rtol=1e-2)


def test_evenness_command(tmp_path, command) -> None:
    words = ("--seat", "seat", "--grip", "handlebar", "--seconds", 0.5, "-o", tmp_path, "--json")
    code, out, err = command("evenness", DEMO, EVEN, *words)
    assert (code, err) == (0, "")
    found = json.loads(out)
    uneven, even = found["cases"]
    assert [round(angle) for angle in uneven["intervals_deg"]] == [360, 180, 180]
    assert (uneven["firing_evenness"], even["firing_evenness"]) == (pytest.approx(0.75), pytest.approx(1.0))
    assert even["torque_evenness"] > 0.999 > uneven["torque_evenness"]
    assert even["strongest_order"] == 1.5
    assert even["speed_fluctuation"] < uneven["speed_fluctuation"]
    contacts = {item["name"]: item["contact"] for item in even["sensors"]}
    assert contacts == {"seat": "seat", "floor": "plain", "handlebar": "grip"}
    assert all((item["weighted_rms_m_per_s2"] is None) == (item["contact"] == "plain") for item in even["sensors"])
    names = {path.name for path in tmp_path.iterdir()}
    sounds = {
        f"{case}-{what}.wav"
        for case in ("v3-80-trike", "v3-80-trike-even")
        for what in ("exhaust", "seat", "handlebar")
    }
    assert names == {"evenness.png"} | sounds
    assert all(wavfile.read(tmp_path / name)[0] == 44100 for name in sounds)
    assert float((imread(tmp_path / "evenness.png")[..., :3].min(axis=2) < 0.95).mean()) > 0.05


def test_evenness_table(command) -> None:
    code, out, err = command("evenness", DEMO, EVEN)
    assert (code, err) == (0, "")
    assert out.startswith("speed fluctuation, least first: v3-80-trike-even 1.73 %, v3-80-trike 2.66 %")
    for words in (
        "intervals, °",
        "360 180 180",
        "240 240 240",
        "speed fluctuation",
        "handlebar",
        "exhaust, Pa",
        "licensed",
    ):
        assert words in out


def test_weighted_sum_of_orders() -> None:
    """Law: half the square of amplitude times weight, summed; unity where nothing is weighted."""
    order, amplitude = np.array([0.5, 1.0]), np.array([[3.0, 0.0, 0.0], [0.0, 4.0, 0.0]])
    assert weighted_rms(order, amplitude, SPEED, "plain") == pytest.approx(5.0 / math.sqrt(2.0))
    assert weighted_rms(order, amplitude, SPEED, "grip") < 0.6 * 5.0 / math.sqrt(2.0)


def test_detection_index_has_the_deviation_it_says() -> None:
    """2000 drawings of normal numbers: the standard deviation of the index found is within 6 % (1/√4000 is 1.6 %, the
    rest the large-sample formula's) of the mean one stated, and the index has the bias 3/(4n − 5)."""
    random = np.random.default_rng(5)
    found = [detection_of(random.normal(0, 1, 80), random.normal(-8, 1.5, 16)) for _ in range(2000)]
    index = np.array([one.index for one in found])
    assert index.mean() == pytest.approx(8.0 * (1.0 + 3.0 / 315.0), rel=0.01)
    assert index.std() == pytest.approx(np.mean([one.deviation for one in found]), rel=0.06)
    assert found[0].word == "clear"
    with pytest.raises(ValueError, match="too few"):
        detection_of(np.arange(2.0), np.arange(9.0))


def test_speed_change_over_a_stroke() -> None:
    """Exact: a crank that speeds up evenly over angle-time, seen by a fine wheel; too coarse a wheel is refused."""
    time = np.arange(0.0, 1.0, 1e-4)
    speed, rate = 100.0, 40.0
    angle = speed * time + 0.5 * rate * time**2
    found = speed_changes(time, angle, speed + rate * time, 2.0, 4.0 * math.pi, Wheel(720, 0, 1e9))
    fired = 2.0 + 4.0 * math.pi * np.arange(len(found))

    def mean(low: float, high: float) -> np.ndarray:
        """ω̄ = Δθ/Δt with t = (√(ω0² + 2aθ) − ω0)/a."""
        times = [(np.sqrt(speed**2 + 2.0 * rate * (fired + x)) - speed) / rate for x in (low, high)]
        return (high - low) / (times[1] - times[0])

    third = math.pi / 3.0
    np.testing.assert_allclose(found, mean(2.0 * third, 3.0 * third) - mean(-third, 0.0), atol=0.02)
    with pytest.raises(ValueError, match="too coarse"):
        speed_changes(time, angle, speed + rate * time, 1.0, 4.0 * math.pi, Wheel(8, 4, 1e6))


def test_misfire_shows_by_the_work_it_lacks() -> None:
    """Derived: where the clock is fine enough the dip over the scatter is all over 3 % of a cycle's burning, 33, within
    three of its own standard deviations; at high speed and low load the clock hides some of it."""
    study = misfire_visibility(load_case(EVEN), [2000.0 * math.pi / 30.0, 7000.0 * math.pi / 30.0], [0.2], cycles=40)
    slow, fast = (point.found for point in study.points)
    assert slow.misfiring == pytest.approx(8, abs=1)
    assert abs(slow.index - 33.3) < 3.0 * slow.deviation + 3.0
    assert fast.index < 0.7 * slow.index
    assert fast.dip < 0.5 * slow.dip


@pytest.mark.slow  # 24 runs
def test_misfire_is_shown_over_speed_and_load(command) -> None:
    code, out, _ = command("misfire", DEMO, "--cycles", 20, "--json")
    found = json.loads(out)
    assert code == 0 and found["verdict"].startswith("a misfire of cylinder 1 is ")
    points = {(round(point["speed_rpm"]), point["load"]) for point in found["points"]}
    assert points == {(rpm, load) for rpm in (2000, 3000, 4000, 5000) for load in (0.2, 0.35, 1.0)}


def test_misfire_leaves_out_what_stalls_and_says_where() -> None:
    """Bad input: one of two points turns too slowly for the flywheel."""
    speeds, case_file = [1200.0 * math.pi / 30.0, 4000.0 * math.pi / 30.0], load_case(DEMO)
    study = misfire_visibility(case_file, speeds, [1.0], cycles=20)
    assert [round(point.speed * 30.0 / math.pi) for point in study.points] == [4000]
    assert any(note.startswith("left out, 1200 rpm, load 1: the engine stalled") for note in study.notes)


def test_misfire_and_flywheel_commands(tmp_path, command) -> None:
    place = ("--speeds-rpm", 4000, "--load", 0.35)
    code, out, err = command("misfire", DEMO, "--cycles", 30, *place, "-o", tmp_path)
    assert (code, err) == (0, "")
    assert out.startswith("a misfire of cylinder 1 is clear: index ")
    assert "engine.tooth_wheel: none given" in out
    code, out, err = command("flywheel", DEMO, "--fluctuation", 0.02, "--no-run", "-o", tmp_path)
    assert (code, err) == (0, "")
    assert "kg m² at the crank" in out
    code, out, err = command("flywheel", DEMO, "--fluctuation", 0.02, "--load", 0.35, 1, "--no-run", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["inertia_kg_m2"] == max(point["inertia_needed_kg_m2"] for point in found["points"])
    assert {path.name for path in tmp_path.iterdir()} == {"misfire.png", "flywheel.png"}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("flywheel", DEMO, "--fluctuation", 0), "--fluctuation: got 0; must be 0.0001 to 1"),
        (("flywheel", DEMO, "--fluctuation", 0.1, "--load", 2), "--load: got 2; must be 0 to 1"),
        (("misfire", DEMO, "--cylinder", "9"), "--cylinder: got '9'; allowed: 1, 2, 3"),
        (("misfire", DEMO, "--cycles", 5), "--cycles: got 5; must be 20 to 5000"),
        (("evenness", DEMO, DEMO), "the cases' file names must differ"),
        (("evenness", DEMO, "--seat", "chair"), "--seat: got 'chair'; v3-80-trike: allowed: seat, floor, handlebar"),
    ],
)
def test_bad_input(command, words, expected) -> None:
    code, _, err = command(*words)
    assert code == 2
    assert expected in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize("word", ["flywheel", "misfire", "evenness"])
def test_no_engine(tmp_path, command, demo_text, word) -> None:
    path = tmp_path / "case.toml"
    path.write_text(without_engine(demo_text), encoding="utf-8")
    more = ("--fluctuation", 0.02) if word == "flywheel" else ()
    code, _, err = command(word, path, *more)
    assert code == 2
    assert "engine: is missing" in err
