"""Results files that reports are made of: the demo run, and a sweep of 200 points that is put together from it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.sweep.stub import stub_plan
from vibsim.post.reduced import reduce_results
from vibsim.results.hdf5 import write_results
from vibsim.results.labelled import Group
from vibsim.results.sweep_file import packed_values, shape_of
from vibsim.studies.sweep.engines import in_process
from vibsim.studies.sweep.plan import Chain
from vibsim.studies.sweep.point import Outcome
from vibsim.studies.sweep.sweep import run_sweep

AXES = ["run.speed_rpm=1500:6000:20", "run.load=0.1:1:10"]
FAILED = 7  # the point of the sweep that has failed


def changed(results: Group, **attributes) -> Group:
    """The same results with other attributes of the file."""
    return Group(dict(results.variables), results.attributes | attributes, dict(results.groups))


def scaled(kept: Group, values: np.ndarray) -> Group:
    """What a point keeps, grown with speed (rpm) and load; phases stay."""
    made, factor = Group(), float(values[0] / 4000.0 * (0.5 + values[1]))
    for name, item in kept.variables.items():
        grows = item.dims != (name,) and not name.endswith(("_phase", "_factor")) and item.data.dtype.kind == "f"
        made.add(name, item.dims, item.data * factor if grows else item.data, item.units, item.long_name)
    made.add("mean_speed", (), float(values[0]) * np.pi / 30.0, "rad s-1", "mean crank speed")
    return made


def write_sweep_of(results: Group, path: Path, axes: list[str] = AXES, histories: bool = False) -> Path:
    """A sweep file whose points are the run's own quantities, grown; one of them has failed."""
    kept = reduce_results(results, histories)

    def work(text: str, chain: Chain) -> list[Outcome]:
        found = []
        for point, values in zip(chain.points, chain.values, strict=True):
            one = scaled(kept, values)
            failed = Outcome(point, None, reason="knocks <b>hard</b>")
            done = Outcome(point, packed_values(one, shape_of(one)), shape_of(one).as_text())
            found.append(failed if point == FAILED else done)
        return found

    run_sweep(stub_plan(axes), path, in_process(), task=work)
    return path


@pytest.fixture(scope="session")
def run_file(demo_results: Group, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("run") / "demo.h5"
    write_results(demo_results, path)
    return path


@pytest.fixture(scope="session")
def other_run(demo_results: Group, demo_text: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo run as if of stiffer mounts, under a title and with notes that hold markup."""
    text = demo_text.replace("mass_kg = 340", "mass_kg = 345") + "\n# </script><script>alert(2)</script>\n"
    title = "<script>alert(1)</script> & <b>trike</b>"
    other = changed(demo_results, title=title, notes="</script><!-- <img src=x>", case_text=text, case_sha256="0" * 64)
    path = tmp_path_factory.mktemp("other") / "other.h5"
    write_results(other, path)
    return path


@pytest.fixture(scope="session")
def sweep_file(demo_results: Group, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_sweep_of(demo_results, tmp_path_factory.mktemp("sweep") / "map.h5")


@pytest.fixture(scope="session")
def sampled_file(demo_results: Group, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve points of no grid."""
    table = tmp_path_factory.mktemp("points") / "points.csv"
    rows = [f"{1500 + 370 * (5 * n % 12)},{0.2 + 0.06 * n:.2f}" for n in range(12)]
    table.write_text("run.speed_rpm,run.load\n" + "\n".join(rows) + "\n")
    return write_sweep_of(demo_results, table.with_name("sampled.h5"), [str(table)])
