"""The report as a file: what it holds, what it must not hold, that numbers in it are those of the results."""

from __future__ import annotations

import base64
import datetime
import hashlib
import json
import math
import re
from dataclasses import replace
from html import escape
from pathlib import Path

import numpy as np
import pytest

import vibsim
from tests.report.conftest import FAILED
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group
from vibsim.show.report import payload as payload_module
from vibsim.show.report.drawing import SAMPLES
from vibsim.show.report.payload import as_json, payload, thinned
from vibsim.show.report.render import render
from vibsim.show.report.words import three_digits
from vibsim.studies.balance import find_balance
from vibsim.studies.modes import find_modes
from vibsim.studies.report import _case_texts, gather
from vibsim.studies.sweep.read import quantity, read_sweep

WHEN = datetime.datetime(2026, 1, 2, 3, 4, 5, tzinfo=datetime.UTC)
CONFIGS = Path(__file__).parent.parent.parent / "configs"


def data_of(html: str) -> dict:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def floats(text: str) -> np.ndarray:
    return np.frombuffer(base64.b64decode(text), dtype="<f4")


@pytest.fixture(scope="module")
def html(run_file: Path) -> str:
    return render(gather([run_file]), WHEN)


def test_command_writes_one_file_and_writes_over_it(run_file: Path, tmp_path: Path, command) -> None:
    target = tmp_path / "r.html"
    target.write_text("old")
    code, out, err = command("report", run_file, "-o", target)
    assert (code, err) == (0, "")
    assert f"wrote {target}" in out
    assert target.read_text(encoding="utf-8").startswith("<!doctype html>")
    code, out, _ = command("report", run_file, "--json")
    found = json.loads(out)
    assert found["files"] == [str(run_file.with_name("demo-report.html"))]
    assert found["bytes"] == run_file.with_name("demo-report.html").stat().st_size
    assert [path.name for path in tmp_path.iterdir()] == ["r.html"]  # nothing half written stays


def test_bad_input_is_one_line(run_file: Path, tmp_path: Path, command) -> None:
    nothing = tmp_path / "nothing.h5"
    text = tmp_path / "case.toml"
    text.write_text("[case]\n")
    for words, expected in (
        ((nothing,), "no such file"),
        ((text,), "is not a complete results file"),
        ((run_file, "-o", tmp_path), "--output: got"),
        ((run_file, "-o", run_file), "is one of the results"),
        ((), "required: RESULT.h5"),
    ):
        code, out, err = command("report", *words)
        assert (code, out) == (2, "")
        assert expected in err and len(err.splitlines()) == 1
    code, _, err = command("report", run_file, "-o", text / "r.html")
    assert code == 1 and "cannot be written" in err


def test_a_sweep_without_points_is_refused(sweep_file: Path, tmp_path: Path) -> None:
    results = read_results(sweep_file)
    results.variables["status"].data[:] = 0
    for item in results.variables.values():
        if item.data.dtype.kind == "f":
            item.data[np.isnan(item.data)] = 0.0
    write_results(results, tmp_path / "empty.h5")
    with pytest.raises(InputError, match="holds no point that was computed"):
        gather([tmp_path / "empty.h5"])


def test_nothing_is_fetched(html: str) -> None:
    assert not re.findall(r"https?:|//[a-z]+\.[a-z]", html.replace("// ", ""))
    assert not re.findall(r"url\((?!#)|@import|fetch\(|XMLHttpRequest|<iframe|<object", html)
    assert {link for link in re.findall(r'(?:src|href)="([^"]*)"', html) if not link.startswith("#")} == {"data:,"}


def test_the_verdict_and_where_it_is_from_stand_in_it(html: str, demo_results: Group) -> None:
    top = html[: html.index('id="engine"')]
    for words in ("46.9 N rms", "front right", "floor", "of the action value", "186 N m swing", "licensed practice"):
        assert words in top
    for name in ("case_sha256", "versions", "solver", "created"):
        assert escape(str(demo_results.attributes[name])) in html
    assert escape("[[mount]]") in html and "Natural modes" in html and "prefers-reduced-motion" in html


def test_markup_in_titles_is_text(run_file: Path, other_run: Path) -> None:
    """Independent: what the page would run is counted in the text itself, and the title read back from its escape."""
    page = render(gather([other_run]), WHEN)
    assert "<script>alert" not in page
    assert "<h1>&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;b&gt;trike&lt;/b&gt;</h1>" in page
    assert len(re.findall(r"<script", page)) == len(re.findall(r"</script", page)) == 2
    assert "<img" not in page
    assert data_of(page)["views"][0]["name"] == "other"


@pytest.mark.parametrize("text", ["</script>", "<!--", "&amp;", "]]>", "\u2028", "\U0001f600 ä"])
def test_json_in_the_page_comes_back_and_closes_nothing(text: str) -> None:
    written = as_json({"name": text})
    assert not set("<>&\u2028") & set(written)
    assert json.loads(written) == {"name": text}


def test_it_is_the_same_apart_from_the_date(run_file: Path, html: str) -> None:
    again = render(gather([run_file]), WHEN.replace(year=2027))
    assert again.replace("2027-01-02", "2026-01-02") == html


def test_a_report_of_200_points_is_small_and_holds_every_quantity(sweep_file: Path) -> None:
    report = gather([sweep_file])
    page = render(report, WHEN)
    assert len(page.encode()) <= 5_000_000
    view = data_of(page)["views"][0]
    assert view["points"] == 200 and [len(axis["values"]) for axis in view["axes"]] == [20, 10]
    assert view["notes"] == []
    read = read_sweep(read_results(sweep_file))
    row = report.views[0].found["quantities"]
    for shown, told in zip(view["quantities"], row, strict=True):
        own = quantity(read, told["quantity"]).values
        shares = floats(shown["values"]) / own
        assert np.nanmax(shares) == pytest.approx(np.nanmin(shares), rel=1e-6)  # the unit alone
    assert np.isnan(floats(view["speed"])[FAILED]) and np.isfinite(np.delete(floats(view["speed"]), FAILED)).all()
    assert "knocks &lt;b&gt;hard&lt;/b&gt;" in page and "1 points failed" in page


def test_forces_from_orders_are_those_of_the_run(html: str, demo_results: Group) -> None:
    """Independent: the force over the cycle as it was simulated. What is missing is what lies above the highest order
    kept, bounded by the sum of those amplitudes; 32-bit numbers add 1e-6 of the whole."""
    view = data_of(html)["views"][0]
    order, mounts = np.array(view["order"]), len(view["mounts"])
    pairs = floats(view["mount_orders"]).reshape(len(order), mounts, 3, 2)
    phasors = pairs[..., 0] + 1j * pairs[..., 1]
    angle = demo_results["cycle/cycle_angle"]
    made = np.einsum("ko,omx->kmx", np.exp(1j * np.outer(angle, order[1:])), phasors[1:]).real
    force = demo_results["cycle/mount_force"]
    over = demo_results["orders/order"] > order[-1]
    missing = demo_results["orders/mount_force_amplitude"][over].sum(axis=0)
    beyond = 2.0 * missing + 1e-5 * np.abs(force).max()
    assert (np.abs(made - (force - force.mean(axis=0))) <= beyond).all()


def test_the_mechanism_in_the_page_is_the_balance(html: str) -> None:
    """Independent: parts summed as the page draws them against the free force of the whole train; five digits."""
    mech = data_of(html)["models"][0]["mechanism"]
    case_file = load_case(CONFIGS / "v3-80-trike.toml")
    free = find_balance(case_file).about_crank
    angle = 2.0 * math.pi * mech["turns"] * np.arange(mech["samples"]) / mech["samples"]
    assert mech["samples"] == SAMPLES * mech["turns"]
    force = np.array(mech["force"]) @ np.array([1.0, 1j])
    total = force.sum(axis=0)
    for one in mech["eccentrics"]:
        total = total + one["force"] * np.exp(1j * (one["phase"] + one["ratio"] * angle))
    whole = np.interp(angle, free.angle, free.force.real) + 1j * np.interp(angle, free.angle, free.force.imag)
    assert np.abs(total - whole).max() < 1e-4 * np.abs(force).max()


def test_what_does_not_fit_is_left_out_and_said(sweep_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    view = gather([sweep_file]).views[0]
    monkeypatch.setattr(payload_module, "MOST_NUMBERS", 60 * 9 * 60)  # 60 points of 9 orders of 10 channels
    levels, axes, points, notes = thinned(view)
    assert len(levels.order) == 9 and len(points) <= 60
    assert len(axes[view.slider].values) == 20  # the slider keeps all its places
    assert len(points) == math.prod(len(axis.values) for axis in axes)
    assert "orders up to 4" in notes[0] and "of 200 points" in notes[1]
    assert levels.speed[-1] == view.levels.speed[points[-1]]


def test_runs_of_one_case_share_a_slider_and_others_stand_apart(
    demo_results: Group, demo_text: str, run_file: Path, other_run: Path, tmp_path: Path
) -> None:
    faster = Group(dict(demo_results.variables), dict(demo_results.attributes), dict(demo_results.groups))
    torque = demo_results.groups["torque"]
    attributes = torque.attributes | {"mean_speed_rad_per_s": 500.0}
    faster.groups["torque"] = Group(dict(torque.variables), attributes, {})
    faster.attributes["case_text"] = demo_text.replace("speed_rpm = 4000", "speed_rpm = 4775")
    faster.attributes["case_sha256"] = "1" * 64
    write_results(faster, tmp_path / "faster.h5")
    report = gather([tmp_path / "faster.h5", run_file, other_run])
    assert [view.names for view in report.views] == [["demo", "faster"], ["other"]]  # in the order of speed
    assert [len(view.levels.speed) for view in report.views] == [2, 1]
    page = render(report, WHEN)
    assert "Side by side" in page and "Demo data, invented." in page


def test_a_case_that_is_not_understood_leaves_the_rest(demo_results: Group, tmp_path: Path) -> None:
    broken = Group(dict(demo_results.variables), demo_results.attributes | {"case_text": "= <no>"}, demo_results.groups)
    write_results(broken, tmp_path / "broken.h5")
    report = gather([tmp_path / "broken.h5"])
    page = render(report, WHEN)
    assert "is not understood here" in page and "46.9 N rms" in page
    assert data_of(page)["models"] == [None]


def test_texts_of_several_cases_are_told_apart() -> None:
    texts = ["a = 1\n# ä", "b = 2\n\n", "c = 3"]
    attributes = {
        "case_text": "\n".join(texts),
        "case_sha256": "\n".join(hashlib.sha256(text.encode()).hexdigest() for text in texts),
        "case_name": "one\ntwo\nthree",
    }
    assert [text for text, _, _ in _case_texts(attributes)] == texts


def test_modes_of_a_case_with_an_air_path_are_those_without() -> None:
    """A load step brings states of the air, which hold no body: the modes are those of the same case run steadily."""
    case_file = load_case(CONFIGS / "v3-80-trike-electric.toml")
    run = case_file.case.run
    assert run is not None and run.kind == "load_step"
    steady = run.model_copy(update={"kind": "steady"})
    other = replace(case_file, case=case_file.case.model_copy(update={"run": steady}))
    assert find_modes(case_file).modes.frequency == pytest.approx(find_modes(other).modes.frequency, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "words"), [(46.93, "46.9"), (0.00436, "0.00436"), (463.8, "464"), (1234.0, "1234"), (0.0, "0")]
)
def test_three_digits_without_an_exponent(value: float, words: str) -> None:
    assert three_digits(value) == words


def test_every_template_goes_into_the_wheel() -> None:
    """The globs of pyproject against the files that are there."""
    import tomllib

    folder = Path(vibsim.__file__).parent / "show" / "report"
    told = tomllib.loads((CONFIGS.parent / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    packed = {path for glob in told["vibsim.show.report"] for path in folder.glob(glob)}
    assert packed == set((folder / "templates").iterdir())
    empty = payload(gather([]))
    assert (empty["colours"], empty["models"], empty["views"]) == (payload_module.COLOURS, [], [])
