"""The notebook lines of README run as they stand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MOST_LINES = 10
SAMPLE = """
## From Python

Words.

```python
import vibsim
case = vibsim.load("configs/v3-80-trike.toml")
soft = case.scaled("mount[*].stiffness_N_per_mm[*]", 0.8)
before, after = vibsim.run(case), vibsim.run(soft)
before.to_xarray("orders").mount_force_amplitude.sel(mount="front left", axis="Z", order=1)
vibsim.compare(before, after, names=("firm", "soft"))
```
"""


def first_block(text: str) -> str | None:
    """The first python block under the heading; None where there is no such heading."""
    heading = re.search(r"^#+ From Python\s*$", text, re.MULTILINE)
    if heading is None:
        return None
    block = re.search(r"```python\n(.*?)```", text[heading.end() :], re.DOTALL)
    assert block is not None, "no python block under 'From Python'"
    return block[1]


@pytest.mark.parametrize("where", ["README.md", "sample"])
def test_lines_of_the_page_run(where, monkeypatch):
    text = SAMPLE if where == "sample" else (ROOT / where).read_text(encoding="utf-8")
    block = first_block(text)
    if block is None:
        pytest.skip("README has no heading 'From Python'")
    assert len([line for line in block.splitlines() if line.strip()]) <= MOST_LINES
    monkeypatch.chdir(ROOT)
    before = set(ROOT.glob("*.h5"))
    names: dict[str, object] = {}
    exec(compile(block, where, "exec"), names)
    assert {type(value).__name__ for value in names.values()} >= {"Case", "Results"}
    assert set(ROOT.glob("*.h5")) == before
