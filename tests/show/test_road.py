"""What a run over a road shows on a terminal and in its figure."""

from __future__ import annotations

import pytest

from tests.cases import as_file
from tests.road_cases import ROUGH, vehicle_over
from vibsim.post.summary import summarise
from vibsim.results.labelled import Group
from vibsim.show.figures import FIGURES
from vibsim.show.road_tables import road_line, road_table
from vibsim.studies.run import run_case


@pytest.fixture(scope="module")
def driven() -> Group:
    return run_case(as_file(vehicle_over(ROUGH | {"run_in_s": 0.2}, duration_s=4.0, sample_rate_Hz=1000.0)))


def test_the_summary_names_road_speed_and_what_people_feel(driven):
    summary = summarise(driven)
    assert road_line(summary["road"]) == "over ISO 8608 class C, seed 1, tracks isotropic at 36 km/h"
    table = road_table(summary["road"])
    assert table.row_count == 4 and next(iter(table.columns[0].cells)).plain == "front left"
    assert summary["road"]["wheels"][0]["force_greatest_N"] > summary["road"]["wheels"][0]["force_mean_N"] > 0.0
    assert summary["people"][0]["a8_m_per_s2"] > 0.1


def test_the_figure_shows_road_forces_and_seat(driven):
    figure = FIGURES["road"](driven)
    assert figure is not None
    upper, middle, lower = figure.axes
    assert [len(axes.lines) for axes in (upper, middle, lower)] == [4, 5, 1]
    # a long record: two seconds of it, the hardest, stand below the whole road
    assert upper.get_xlim()[1] == pytest.approx(4.0, abs=0.01)
    assert middle.get_xlim()[1] - middle.get_xlim()[0] == pytest.approx(2.0, abs=0.01)
    assert "the hardest" in middle.get_title(loc="left")
    assert lower.get_legend().get_texts()[0].get_text().startswith("hip\n")


def test_a_run_on_no_road_has_no_such_figure(demo_results):
    assert FIGURES["road"](demo_results) is None
