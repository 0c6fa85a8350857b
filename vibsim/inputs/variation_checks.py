"""Checks of variation and misfire that a single key cannot show."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]


def check_variation(engine: dict[str, Any], run: Any, report: Report) -> None:
    """What varies or misfires must burn; a pattern must be given once, and a correlation must be one that can be."""
    if not isinstance(run, dict):
        return
    variation, misfire = run.get("variation"), run.get("misfire")
    if isinstance(misfire, dict):
        _check_misfire(misfire, engine, report)
    if isinstance(variation, dict):
        _check_correlation(variation, report)
    for table, name in ((variation, "variation"), (misfire, "misfire")):
        if isinstance(table, dict):
            _check_burning(engine, run, f"run.{name}", report)
            return


def _check_burning(engine: dict[str, Any], run: dict[str, Any], who: str, report: Report) -> None:
    gas = engine.get("gas")
    source = gas.get("source", "none") if isinstance(gas, dict) else "none"
    if source != "cycle" or not isinstance(gas, dict):
        report(("engine", "gas", "source"), source, f"{who} needs source cycle, which knows what burns")
        return
    if gas.get("fuel_cut") is True:
        report(("engine", "gas", "fuel_cut"), True, f"{who} needs fuel to burn")
    if gas.get("fuel") == "diesel" and run.get("load") == 0:
        report(("run", "load"), run["load"], f"{who} needs fuel to burn; a diesel gets none at load 0")
    named = _names(run.get("misfire"))
    for index, cylinder in enumerate(engine.get("cylinder") or ()):
        concerned = isinstance(run.get("variation"), dict) or cylinder.get("name") in named
        if isinstance(cylinder, dict) and cylinder.get("fuelling") == 0 and concerned:
            where = ("engine", "cylinder", index, "fuelling")
            report(where, cylinder["fuelling"], f"{who} needs fuel to burn in this cylinder")


def _names(misfire: Any) -> tuple[Any, ...]:
    named = misfire.get("cylinder") if isinstance(misfire, dict) else ()
    return named if isinstance(named, tuple) else (named,)


def _check_misfire(misfire: dict[str, Any], engine: dict[str, Any], report: Report) -> None:
    known = [cylinder.get("name") for cylinder in engine.get("cylinder") or () if isinstance(cylinder, dict)]
    where, pattern = ("run", "misfire", "cylinder"), misfire.get("pattern")
    if isinstance(misfire.get("cylinder"), tuple) and not misfire["cylinder"]:
        report(where, [], "must name a cylinder")
    for name in _names(misfire):
        if isinstance(name, str) and name not in known:
            report(where, name, "no such cylinder; allowed: " + ", ".join(str(item) for item in known))
    if (pattern is None) == (misfire.get("every") is None):
        report(
            ("run", "misfire", "pattern"), None if pattern is None else list(pattern), "give either pattern or every"
        )
    elif isinstance(pattern, tuple) and pattern and 0 not in pattern:
        report(("run", "misfire", "pattern"), list(pattern), "has no 0 in it: nothing misfires")


def _check_correlation(variation: dict[str, Any], report: Report) -> None:
    """A lognormal series cannot swing to the other side as far as a normal one (derived; see `engine.variation`)."""
    spread, lag = variation.get("coefficient_of_variation"), variation.get("lag_correlation", 0.0)
    if variation.get("distribution", "lognormal") != "lognormal":
        return
    if not isinstance(spread, int | float) or not isinstance(lag, int | float):
        return
    least = -1.0 / (1.0 + spread**2)
    if lag <= least:
        allowed = f"a lognormal series of this variation cannot go below {least:.3f}"
        report(("run", "variation", "lag_correlation"), lag, allowed)
