"""What a case may not ask for at once: parts of the model that do not know each other."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vibsim.inputs.programme_checks import STEPPED

Report = Callable[[tuple[str | int, ...], Any, str], None]


def check_together(clean: dict[str, Any], report: Report) -> None:
    """Report parts of a case that cannot be together, each by the key to take out."""
    engine, run = _table(clean.get("engine")), _table(clean.get("run"))
    load, crank = _table(engine.get("load")), _table(engine.get("crank"))
    rotors = bool(clean.get("rotor") or clean.get("shaft") or crank.get("torsion"))
    outlet = next((key for key in ("chain", "differential") if load.get(key) is not None), None)
    held = run.get("speed_is") == "prescribed" or (run.get("speed_is") is None and run.get("rate") is not None)
    if rotors and outlet:
        report(
            ("engine", "load", outlet), None, "does not go with [[rotor]] tables; let engine.load.rotor take the load"
        )
    if (rotors or outlet) and (run.get("kind") in STEPPED or held):
        what = "[[rotor]] tables or engine.crank.torsion" if rotors else f"engine.load.{outlet}"
        report(
            ("run", "kind"),
            run.get("kind"),
            f"drives the crank itself, which does not go with {what}; allowed: steady, free",
        )
    if held and run.get("solve") == "periodic":
        report(("run", "solve"), "periodic", 'does not go with speed_is = "prescribed"; allowed: settle')


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}
