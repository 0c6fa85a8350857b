"""The notebook lines of README run as they stand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def test_lines_of_readme_run(monkeypatch):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    heading = re.search(r"^#+ From Python\s*$", text, re.MULTILINE)
    if heading is None:
        pytest.skip("README has no heading 'From Python'")
    block = re.search(r"```python\n(.*?)```", text[heading.end() :], re.DOTALL)
    assert block is not None, "no python block after 'From Python'"
    lines = [line for line in block[1].splitlines() if line.strip()]
    assert len(lines) <= 10
    monkeypatch.chdir(ROOT)
    before = {path for path in ROOT.iterdir() if path.suffix == ".h5"}
    names: dict[str, object] = {}
    exec(compile(block[1], "README.md", "exec"), names)
    assert {type(value).__name__ for value in names.values()} >= {"Case", "Results"}
    assert before == {path for path in ROOT.iterdir() if path.suffix == ".h5"}
