"""What the report tells beyond levels: exposure, records that do not repeat, histories of a sweep, differences."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tests.report.conftest import changed, write_sweep_of
from tests.report.test_report import WHEN, data_of, floats
from vibsim.inputs.errors import InputError
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group
from vibsim.show.report.render import render, running_title
from vibsim.studies.report import gather
from vibsim.studies.report_record import record_levels
from vibsim.studies.report_views import axis_words


def test_exposure_of_a_run_stands_in_table_and_data(run_file: Path, demo_results: Group) -> None:
    page = render(gather([run_file]), WHEN)
    view = data_of(page)["views"][0]
    felt = demo_results.groups["exposure"]
    assert [row["name"] for row in view["felt"]] == felt.labels("felt_at") == ["seat", "floor", "handlebar"]
    assert [(row["action"], row["limit"]) for row in view["felt"]] == [(0.5, 1.15), (None, None), (2.5, 5.0)]
    judged = np.array([True, False, True])
    assert floats(view["a8"])[judged] == pytest.approx(felt["a8"][judged], rel=1e-6)
    assert np.isnan(floats(view["a8"])[~judged]).all()
    part = page[page.index('id="people"') : page.index('id="tables"')]
    for words in (
        "below the action value",
        "0.5 / 1.15",
        "MTVV",
        "not uncomfortable",
        "Directive 2002/44/EC",
        "over 24",
    ):
        assert words in part
    assert "People, weighted" not in page  # not told twice


def test_a_day_is_put_together_from_runs(run_file: Path, other_run: Path) -> None:
    """Two runs alike for four hours each are a day of eight hours of one."""
    one, two = gather([run_file]), gather([run_file, other_run], [4.0, 4.0])
    assert two.day is not None and one.sources[0].exposure is not None
    whole = {row["sensor"]: row["a8_m_per_s2"] for row in one.sources[0].exposure["daily"]}
    assert {row["sensor"]: row["a8_m_per_s2"] for row in two.day["daily"]} == pytest.approx(whole, rel=1e-12)
    assert "The day: demo 4 h, other 4 h" in render(two, WHEN)
    with pytest.raises(InputError, match="--hours: got 1 numbers; must be 2"):
        gather([run_file, other_run], [4.0])
    with pytest.raises(InputError, match="--hours: got 30 h"):
        gather([run_file, other_run], [15.0, 15.0])


def test_exposure_of_a_sweep(sweep_file: Path) -> None:
    page = render(gather([sweep_file]), WHEN)
    view, read = data_of(page)["views"][0], read_results(sweep_file)
    assert [row["contact"] for row in view["felt"]] == ["seat", "footrest", "grip"]  # found by their factors
    a8 = floats(view["a8"]).reshape(200, 3)[:, [0, 2]]
    assert a8 == pytest.approx(read["exposure_a8"].reshape(200, 3)[:, [0, 2]], rel=1e-6, nan_ok=True)
    assert "Exposure, worst" in page and "A(8) of 8 h, seat" in page
    assert [len(row["shares"]) for row in view["quantities"]] == [2] * len(view["quantities"])


def without_cycle(results: Group) -> Group:
    """The same record as of a run that does not repeat."""
    left = {name: group for name, group in results.groups.items() if name not in ("cycle", "orders")}
    return Group(dict(results.variables), results.attributes | {"run_kind": "free"}, left)


def test_orders_along_a_record_are_those_of_its_cycle(demo_results: Group) -> None:
    """Independent: the record is of a periodic state, whose orders over one exact cycle stand in the file. Windows err
    by what the speed fluctuates within them and by resampling: 1 % of the strongest here."""
    found = record_levels(without_cycle(demo_results))
    assert found is not None
    levels, time = found
    exact = demo_results["orders/mount_force_amplitude"][: len(levels.order)]
    own = np.abs(levels.mount_orders)
    assert (np.diff(time) > 0.0).all() and time[-1] <= demo_results["time"][-1]
    assert own[:, 1:].max(axis=0) == pytest.approx(exact[1:], abs=0.01 * exact[1:].max())
    rms = demo_results["mount_forces/resultant_rms"]
    assert levels.mount_rms == pytest.approx(np.tile(rms, (len(time), 1)), rel=0.02, abs=0.01 * rms.max())


def test_a_record_gets_a_slider_over_time(demo_results: Group, tmp_path: Path) -> None:
    write_results(without_cycle(demo_results), tmp_path / "record.h5")
    report = gather([tmp_path / "record.h5"])
    page = render(report, WHEN)
    view = data_of(page)["views"][0]
    assert view["record"] and view["axes"][0]["label"] == "time" and view["points"] >= 3
    assert "of a window of four working cycles about it" in page
    titles = [chart["title"] for chart in view["histories"][0]["charts"]]
    assert titles[0] == "Crank speed" and "Varying force of mounts" in titles


def test_histories_that_a_sweep_kept(demo_results: Group, tmp_path: Path) -> None:
    axes = ["run.speed_rpm=2000:4000:3", "run.load=0.5,1"]
    path = write_sweep_of(demo_results, tmp_path / "kept.h5", axes, histories=True)
    swept = data_of(render(gather([path]), WHEN))["views"][0]["swept"]
    curves = [series["name"] for chart in swept["charts"] for series in chart["series"]]
    values = floats(swept["values"]).reshape(6, len(curves), len(swept["x"]))
    read = read_results(path)
    gas = read["gas_torque_over_cycle"].reshape(6, -1)
    degrees = np.degrees(read["cycle_angle"])
    for point in range(6):
        expected = np.interp(swept["x"], degrees, gas[point])
        assert values[point, curves.index("gas")] == pytest.approx(expected, abs=1e-3 * np.abs(gas).max())
    assert "cylinder 3" in curves


def test_differences_count_beyond_the_threshold(
    run_file: Path, other_run: Path, demo_results: Group, tmp_path: Path
) -> None:
    """Runs alike differ in nothing; a run with every order a tenth higher is worse by 10 %."""
    same = render(gather([run_file, other_run]), WHEN)
    assert same.count("nothing beyond the threshold") == 2
    louder = changed(demo_results, case_sha256="2" * 64, case_text=demo_results.attributes["case_text"] + "\n[x]")
    orders = demo_results.groups["orders"]
    louder.groups["orders"] = Group(dict(orders.variables), dict(orders.attributes), {})
    item = orders.variables["mount_force_amplitude"]
    louder.groups["orders"].add("mount_force_amplitude", item.dims, 1.1 * item.data, item.units, item.long_name)
    write_results(louder, tmp_path / "louder.h5")
    page = render(gather([run_file, tmp_path / "louder.h5"]), WHEN)
    worse = page[page.index("Worse in louder than in demo") : page.index('id="engine"')]
    assert "+10 %" in worse and "mount force" in worse
    assert set(data_of(page)["floors"]["louder"]) >= {"mount/front left", "sensor/seat"}


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        (["run.speed_rpm", "run.load"], ["crank speed", "load"]),
        (["mount[rear left].stiffness_N_per_mm[*], times what the case says"], ["rear left stiffness ×"]),
        (["mount[*].damping_N_s_per_mm[3]"], ["all damping 3"]),
        (["engine.rod_length_mm"], ["engine.rod_length_mm"]),
        (["mount[a].rate_x", "sensor[a].rate_x"], ["mount[a].rate_x", "sensor[a].rate_x"]),
    ],
)
def test_axes_have_short_names_unless_they_are_alike(keys: list[str], words: list[str]) -> None:
    assert axis_words(keys) == words


def test_the_running_title_ends_neither_text_nor_style() -> None:
    text = running_title('</style>"} \\ 80° V3 ' + "long " * 40)
    assert not set("<>°") & set(re.sub(r'content: "([^"]*)"', "", text)) and "</" not in text
    shown = re.search(r'@top-left { content: "([^"]*)"', text)
    assert shown is not None
    back = re.sub(r"\\([0-9a-f]{6})", lambda sign: chr(int(sign[1], 16)), shown[1])
    assert back.startswith('</style>"} \\ 80° V3 long') and back.endswith("…") and len(back) <= 90


@pytest.mark.parametrize("words", [("--of", "seat"), ("--limit", "load<1"), ("--most",), ("--case", "a")])
def test_plot_of_a_run_refuses_what_goes_with_a_sweep(run_file: Path, command, words: tuple[str, ...]) -> None:
    code, out, err = command("plot", run_file, *words)
    assert (code, out) == (2, "")
    assert err.startswith(f"vibsim: {words[0]}: goes with a sweep") and len(err.splitlines()) == 1
