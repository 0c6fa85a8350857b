"""The ways to charge one engine, made alike in what they have in common: target, inlet, compressor, intercooler."""

from __future__ import annotations

from dataclasses import replace

from vibsim.inputs.charging_models import (
    Charged,
    DrivenCharging,
    ElectricCharging,
    NoCharging,
    TurbineCharging,
)
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import CycleGas, Engine

UNCHARGED = "none"
SOURCES: dict[str, type[Charged]] = {
    "electric": ElectricCharging,
    "exhaust_turbine": TurbineCharging,
    "engine_driven": DrivenCharging,
}
USUAL_BOOST = 33.0e3  # Pa above ambient
SHARED = (
    "boost_pressure",
    "pressure_ratio",
    "inlet_temperature",
    "intake_volume",
    "compressor",
    "intercooler",
    "added_mass",
    "added_mass_at",
)


def engine_of(case_file: CaseFile) -> Engine:
    """The engine, with a working cycle. Raises InputError for a case without one."""
    engine = case_file.case.engine
    if engine is None:
        raise InputError("engine: is missing; charging needs an [engine] table")
    if not isinstance(engine.gas, CycleGas):
        raise InputError(f"engine.gas.source: got {engine.gas.source!r}; charging needs 'cycle', which computes it")
    return engine


def with_charging(case_file: CaseFile, charging: Charged | NoCharging) -> CaseFile:
    """The case with another charging table."""
    engine = engine_of(case_file).model_copy(update={"charging": charging})
    return replace(case_file, case=case_file.case.model_copy(update={"engine": engine}))


def choices(case_file: CaseFile, boost: float | None = None, sources: list[str] | None = None) -> dict[str, CaseFile]:
    """The case uncharged and with each source. The one it has is kept as given; the others take what any source has
    from it, and the usual small machine for the rest; `boost` (Pa above ambient) replaces the target of all.

    Raises InputError for a source that is not known and for a case that has no working cycle.
    """
    own = engine_of(case_file).charging
    for source in sources or []:
        if source not in SOURCES:
            raise InputError(f"--source: got {source!r}; allowed: {', '.join(SOURCES)}")
    shared = {name: getattr(own, name) for name in SHARED} if isinstance(own, Charged) else {}
    if boost is not None:
        shared |= {"boost_pressure": boost, "pressure_ratio": None}
    elif not shared:
        shared = {"boost_pressure": USUAL_BOOST}
    found = {UNCHARGED: with_charging(case_file, NoCharging())}
    for source in sources or SOURCES:
        if own.source == source:
            assert isinstance(own, Charged)
            found[source] = with_charging(case_file, own.model_copy(update=shared))
        else:
            found[source] = with_charging(case_file, SOURCES[source].model_validate({"source": source} | shared))
    return found
