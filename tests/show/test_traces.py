"""`vibsim traces`, and what check and run say of measured traces, on the shipped invented ones."""

from __future__ import annotations

import json
import shutil

import pytest

from tests.cases import CONFIGS

MEASURED = CONFIGS / "measured"
CASE = MEASURED / "single.toml"
PNG = b"\x89PNG"


@pytest.fixture
def changed(tmp_path):
    """A copy of the shipped case with a text replaced."""

    def change(*replaced: tuple[str, str]):
        folder = tmp_path / "copy"
        shutil.copytree(MEASURED, folder)
        text = (folder / "single.toml").read_text(encoding="utf-8")
        for old, new in replaced:
            assert old in text
            text = text.replace(old, new)
        (folder / "single.toml").write_text(text, encoding="utf-8")
        return folder / "single.toml"

    return change


def test_table_and_figure(tmp_path, command):
    code, out, err = command("traces", CASE, "-o", tmp_path)
    assert (code, err) == (0, "")
    assert (tmp_path / "traces.png").read_bytes().startswith(PNG)
    for words in ("4500-100.csv", "bilinear", "loss angle of 0.6°", "Butterworth", "apparent ratio"):
        assert words in out


def test_json_gives_both_top_dead_centres(command):
    found = json.loads(command("traces", CASE, "--json")[1])
    # the shipped traces were computed with top dead centre at 1.4 degrees of the files; the loss angle given is
    # larger than that of the computed cycle by a third of a degree, symmetry is good for a tenth
    assert found["motored"]["offset_deg"] == pytest.approx(found["motored"]["peak_deg"] + 0.6)
    assert found["motored"]["offset_deg"] == pytest.approx(1.4, abs=0.4)
    assert found["motored"]["offset_by_symmetry_deg"] == pytest.approx(1.4, abs=0.1)
    assert len(found["traces"]) == 6
    assert found["warnings"] == []
    assert all(1.25 < row["compression_exponent"] < 1.4 for row in found["traces"])


def test_check_says_what_was_done(command):
    code, out, _ = command("check", CASE)
    assert code == 0
    for words in (
        "load 0.5, record",
        "symmetry of log p–log V gives",
        "took away 0.0",
        "about intake bottom dead centre",
    ):
        assert words in out
    assert "warning" not in out


def test_check_and_run_warn(changed, tmp_path, command):
    path = changed(("compression_ratio = 10.5", "compression_ratio = 14.0"), ('kind = "steady"', 'kind = "free"'))
    path.write_text(path.read_text() + "duration_s = 0.02\n", encoding="utf-8")
    out = command("check", path)[1]
    assert "warning: trace 3000-100.csv: its compression fits a ratio of " in out
    assert json.loads(command("check", path, "--json")[1])["warnings"]
    code, out, err = command("run", path, "-o", tmp_path, "--no-figures", "--json")
    assert code == 0
    assert "vibsim: warning: trace 3000-100.csv: its compression fits a ratio of " in err
    assert len(json.loads(out)["warnings"]) == len(err.splitlines())
    assert command("run", path, "-o", tmp_path, "--no-figures", "-q") == (0, "", "")


def test_ragged_points_and_a_single_file_are_drawn(changed, tmp_path, command):
    path = changed(('pegging = "intake"', 'pegging = "polytropic"'))
    index = path.parent / "traces" / "index.csv"
    lines = [line for line in index.read_text().splitlines() if not line.startswith("4500-030")]
    index.write_text("\n".join(lines), encoding="utf-8")
    assert command("traces", path, "-o", tmp_path / "ragged")[0] == 0
    text = path.read_text().replace('folder = "traces"', 'file = "traces/1500-100.csv"')
    path.write_text(
        text.replace("compression_ratio = 10.5\n", "").replace('pegging = "polytropic"', ""), encoding="utf-8"
    )
    code, out, err = command("traces", path, "-o", tmp_path / "file")
    assert (code, err) == (0, "")
    assert "engine.compression_ratio is not given" in out
    assert "used at every speed and load" in out
    for folder in ("ragged", "file"):
        assert (tmp_path / folder / "traces.png").read_bytes().startswith(PNG)


def test_a_case_without_traces(command):
    code, _, err = command("traces", CONFIGS / "v3-80-trike.toml")
    assert code == 2
    assert "engine.gas.source: got 'cycle'; vibsim traces needs a case with source = \"trace\"" in err
