"""Files for other programs, read back by what did not write them: the csv module, pyuff, a parser of UFF's columns."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import pyuff

from tests.sweep.stub import stub_plan, stub_work
from vibsim.inputs.errors import InputError
from vibsim.results.exchange.write import export
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group
from vibsim.studies.sweep.axes import read_points
from vibsim.studies.sweep.engines import in_process
from vibsim.studies.sweep.sweep import run_sweep

# ordinates are written with 12 significant digits, abscissas with 6
ORDINATE, ABSCISSA = 1e-11, 1e-5


def table(path: Path) -> tuple[list[str], list[list[str]]]:
    with path.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    return header, rows


@pytest.fixture(scope="module")
def short(demo_results: Group) -> Group:
    """The demo's results with a time record short enough to read quickly."""
    kept = Group(dict(demo_results.variables), demo_results.attributes, dict(demo_results.groups))
    for name, item in demo_results.variables.items():
        if item.dims[0] == "time":
            kept.add(name, item.dims, item.data[:200], item.units, item.long_name)
    return kept


def test_csv_gives_every_number_back(short: Group, tmp_path: Path) -> None:
    paths = export(short, "csv", tmp_path / "out")
    assert {path.name for path in paths} >= {"time.csv", "cycle.csv", "orders.csv", "mount_forces.csv", "about.csv"}
    header, rows = table(tmp_path / "out" / "time.csv")
    numbers = np.array(rows, dtype=float)
    assert header[0] == "time (s)" and (numbers[:, 0] == short["time"]).all()
    mount = short.labels("mount").index("rear left")
    at = header.index("mount_force[rear left,Z] (N)")
    assert (numbers[:, at] == short["mount_force"][:, mount, 2]).all()  # to the last bit
    assert all(name.endswith(")") for name in header)
    header, rows = table(tmp_path / "out" / "mount_forces.csv")
    assert header[0] == "mount" and [row[0] for row in rows] == short.labels("mount")
    assert float(rows[mount][header.index("rms[Z] (N)")]) == short["mount_forces/rms"][mount, 2]
    about = {row[0]: row[1] for row in table(tmp_path / "out" / "about.csv")[1]}
    assert about["case_sha256"] == short.attributes["case_sha256"]
    assert about["case_text"] == short.attributes["case_text"]  # line ends and quotes in a field


def test_odd_labels_stay_one_field(tmp_path: Path) -> None:
    group = Group(attributes={"run_kind": "free"})
    group.add("mount", ("mount",), np.array(['a "b", c\nd', "plain"], dtype=object), "1", "mount")
    group.add("time", ("time",), np.arange(2.0), "s", "time")
    group.add("force", ("time", "mount"), np.array([[1.0, np.nan], [1 / 3, 4.0]]), "N", "force")
    export(group, "csv", tmp_path / "out")
    header, rows = table(tmp_path / "out" / "time.csv")
    assert header == ["time (s)", 'force[a "b", c\nd] (N)', "force[plain] (N)"]
    assert rows == [["0.0", "1.0", ""], ["1.0", repr(1 / 3), "4.0"]]


def test_chosen_variables_alone(short: Group, tmp_path: Path) -> None:
    paths = export(short, "csv", tmp_path / "out", ["mount_force", "torque"])
    assert [path.name for path in paths] == ["time.csv", "torque-torque.csv", "torque-order.csv", "about.csv"]
    assert all(name.startswith(("time", "mount_force[")) for name in table(paths[0])[0])
    with pytest.raises(InputError, match=r"--variable: got 'mount_forse'; did you mean mount_force"):
        export(short, "csv", tmp_path / "out", ["mount_forse"])


def test_json_holds_every_table(short: Group, tmp_path: Path) -> None:
    (path,) = export(short, "json", tmp_path / "all.json")
    found = json.loads(path.read_text(encoding="utf-8"))
    assert "time" not in found["coordinates"] and "mount_force" not in found["variables"]
    tables = [f"{name}/{item}" for name, group in short.groups.items() for item in group.variables if name != "cycle"]
    dims = {"axis", "mount", "sensor", "body", "cylinder"}
    for name in tables:
        word = name.rpartition("/")[2]
        if word not in dims and name not in found["coordinates"]:
            assert np.shape(found["variables"][name]["data"]) == short[name].shape
    assert found["variables"]["orders/mount_force_amplitude"]["units"] == "N"
    assert found["attributes"][""]["title"] == short.attributes["title"]
    (path,) = export(short, "json", tmp_path / "one.json", ["crank_speed"])
    found = json.loads(path.read_text(encoding="utf-8"))
    assert list(found["variables"]) == ["crank_speed"]
    assert found["coordinates"]["time"]["data"] == short["time"].tolist()


def test_universal_file_read_back_by_the_library(short: Group, tmp_path: Path) -> None:
    (path,) = export(short, "uff", tmp_path / "out.uff")
    file = pyuff.UFF(str(path))
    assert set(map(int, file.get_set_types())) == {164, 15, 58}
    sets = file.read_sets()
    functions = {item["id1"]: item for item in sets if item["type"] == 58}
    force = functions["mount_force[front right,Z]"]
    mount = short.labels("mount").index("front right")
    assert (force["func_type"], force["abscissa_spec_data_type"], force["ordinate_spec_data_type"]) == (1, 17, 9)
    assert (force["rsp_node"], force["rsp_dir"], force["ordinate_axis_units_lab"]) == (2001 + mount, 3, "N")
    assert force["data"] == pytest.approx(short["mount_force"][:, mount, 2], rel=ORDINATE)
    assert force["x"] == pytest.approx(short["time"], rel=ABSCISSA)
    order = functions["orders/sensor_acceleration[seat,X]"]
    exact = short["orders/sensor_acceleration_amplitude"] * np.exp(1j * short["orders/sensor_acceleration_phase"])
    assert (order["func_type"], order["abscissa_spec_data_type"], order["ordinate_spec_data_type"]) == (27, 20, 12)
    assert order["data"] == pytest.approx(exact[:, 0, 0], rel=ORDINATE, abs=1e-14)
    assert order["x"] == pytest.approx(short["orders/order"], rel=ABSCISSA)
    spectrum = functions["spectra/acceleration_amplitude[seat,Z]"]
    assert (spectrum["func_type"], spectrum["abscissa_spec_data_type"]) == (12, 18)
    assert functions["spectra/acceleration_density[seat,Z]"]["func_type"] == 9
    nodes = next(item for item in sets if item["type"] == 15)
    where = dict(zip(map(int, nodes["node_nums"]), zip(nodes["x"], nodes["y"], nodes["z"], strict=True), strict=True))
    assert where[2001 + mount] == pytest.approx((0.330, -0.175, 0.420))  # at_mm of the case
    assert next(item for item in sets if item["type"] == 164)["length"] == 1.0


def test_universal_file_read_by_its_columns(short: Group, tmp_path: Path) -> None:
    """Independent of the library: fields by the columns that the format's description gives (records 6, 7, 9, 12)."""
    export(short, "uff", tmp_path / "out.uff", ["mount_force", "orders/mount_force_amplitude"])
    lines = (tmp_path / "out.uff").read_text(encoding="ascii").splitlines()
    begins = [n for n in range(len(lines) - 1) if lines[n][:6] == "    -1" and lines[n + 1][:6] == "    58"]
    assert len(begins) == 2 * short["mount_force"][0].size
    for begin in (begins[0], begins[-1]):
        record6, record7, record9 = lines[begin + 7], lines[begin + 8], lines[begin + 10]
        time = begin == begins[0]
        assert int(record6[:5]) == (1 if time else 27)
        node, direction = int(record6[41:51]), int(record6[51:55])
        assert (node, direction) == ((2001, 1) if time else (2000 + len(short["mount"]), 3))
        kind, count, even = (int(record7[n : n + 10]) for n in (0, 10, 20))
        assert (kind, even) == (4, 1)  # real, double; --variable left the phase out
        assert float(record7[43:56]) == pytest.approx(short["time"][1] if time else 0.5)
        assert (int(record9[:10]), record9[47:67].strip()) == (9, "N")
        body = "".join(lines[begin + 13 : begin + 13 + -(-count // 4)])
        numbers = [float(body[n : n + 20]) for n in range(0, 20 * count, 20)]
        whole = short["mount_force"][:, 0, 0] if time else short["orders/mount_force_amplitude"][:, -1, 2]
        assert numbers == pytest.approx(whole, rel=ORDINATE)
        assert lines[begin + 13 + -(-count // 4)][:6] == "    -1"


@pytest.fixture(scope="module")
def stub_sweep(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sweep") / "map.h5"
    run_sweep(stub_plan(["run.speed_rpm=1000:3000:3", "run.load=0.2,0.7"]), path, in_process(), task=stub_work)
    return path


def test_sweep_is_a_row_per_point(stub_sweep: Path, tmp_path: Path, command) -> None:
    code, out, _ = command("export", stub_sweep, "-o", tmp_path / "map.csv", "--json")
    assert code == 0 and json.loads(out)["files"] == [str(tmp_path / "map.csv")]
    header, rows = table(tmp_path / "map.csv")
    assert header[:5] == ["point", "speed_rpm (rpm)", "load (1)", "status", "why it failed"]
    assert header[5:] == [f"level[{n / 2:g}] (N)" for n in range(4)] + ["product (1)"]
    results = read_results(stub_sweep)
    assert len(rows) == 6
    for n, row in enumerate(rows):
        at = np.unravel_index(n, (3, 2))
        assert (float(row[1]), float(row[2])) == (results["speed_rpm"][at[0]], results["load"][at[1]])
        assert row[3] == "done" and float(row[6]) == results["level"][at][1]


def test_failed_and_missing_points_are_said(stub_sweep: Path, tmp_path: Path) -> None:
    results = read_results(stub_sweep)
    results["status"][1, 0], results["status"][2, 1] = 2, 0
    results["product"][1, 0] = results["product"][2, 1] = np.nan
    results.add("failure", ("failure",), np.array([2]), "1", "number")
    results.add("failure_reason", ("failure",), np.array(["stalled"], dtype=object), "1", "why")
    export(results, "csv", tmp_path / "map.csv", ["product"])
    header, rows = table(tmp_path / "map.csv")
    assert header[3:] == ["status", "why it failed", "product (1)"]
    assert rows[2][3:] == ["failed", "stalled", ""] and rows[5][3:] == ["not computed", "", ""]


def test_points_off_a_grid_keep_their_axes(tmp_path: Path) -> None:
    plan = replace(stub_plan(), points=read_points(["run.speed_rpm=1000:3000", "run.load=0.2:0.7"], "sobol", 4))
    run_sweep(plan, tmp_path / "s.h5", in_process(), task=stub_work)
    results = read_results(tmp_path / "s.h5")
    export(results, "csv", tmp_path / "s.csv", ["product"])
    header, rows = table(tmp_path / "s.csv")
    assert header == ["point", "speed_rpm (rpm)", "load (1)", "status", "why it failed", "product (1)"]
    assert [float(row[2]) for row in rows] == results["load"].tolist()


def test_sweep_of_several_cases_names_them(stub_sweep: Path, tmp_path: Path) -> None:
    one = read_results(stub_sweep)
    other = Group({k: v for k, v in one.variables.items() if k != "product"})
    both = Group(attributes=one.attributes, groups={"a": Group(one.variables), "b": other})
    export(both, "csv", tmp_path / "map.csv")
    header, rows = table(tmp_path / "map.csv")
    assert header[0] == "case" and [row[0] for row in rows] == ["a"] * 6 + ["b"] * 6
    assert rows[0][-1] != "" and rows[6][-1] == ""


def test_wrong_wishes(stub_sweep: Path, short: Group, tmp_path: Path, command) -> None:
    code, _, err = command("export", stub_sweep, "--to", "uff")
    assert code == 2 and "a sweep holds points and no functions" in err
    write_results(short, tmp_path / "run.h5")
    code, _, err = command("export", tmp_path / "run.h5", "--to", "uff", "--variable", "mount_forces")
    assert code == 2 and "takes functions of time" in err
    assert sorted(item.name for item in tmp_path.iterdir()) == ["run.h5"]
    (tmp_path / "file").write_text("")
    code, _, err = command("export", tmp_path / "run.h5", "-o", tmp_path / "file")
    assert code == 1 and "cannot be written" in err
    for kind in ("csv", "json", "uff"):
        code, out, err = command("export", tmp_path / "run.h5", "--to", kind)
        assert (code, err) == (0, "") and out.startswith("wrote ")
    assert {"run-csv", "run.json", "run.uff"} <= {item.name for item in tmp_path.iterdir()}
