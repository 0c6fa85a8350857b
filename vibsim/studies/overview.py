"""What was understood of a case: layout in words, firing, masses, mounts with their static load."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.pressure import depends_on_speed
from vibsim.inputs.charging_models import Charged
from vibsim.inputs.errors import RunFailure
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case, Engine
from vibsim.inputs.steps import stepped, steps_of
from vibsim.solver.observe import observe
from vibsim.solver.packed import STANDARD_GRAVITY, Packed, pack
from vibsim.solver.start import equilibrium, state_at
from vibsim.solver.varied import found_in_record
from vibsim.structure.statics import Equilibrium
from vibsim.studies.gas_overview import CylinderGas, cycles_alike, feeding_in_words, run_point
from vibsim.studies.losses import Loss, find_losses, friction_in_words
from vibsim.studies.wheels import SeatLoad, WheelLoad, seat_loads, wheel_loads

COUNTS = ("no", "single", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True)
class MountLoad:
    """Static load (N, vehicle axes, on the second body), deflection (m) and bounce frequency estimate of a mount."""

    name: str
    between: tuple[str, str]
    law: str
    force: np.ndarray
    deflection: np.ndarray
    frequency: float | None

    @property
    def sag(self) -> float:
        """Vertical deflection under the weight, m, without its sign."""
        return abs(float(self.deflection[2]))


@dataclass(frozen=True)
class Overview:
    """A case in words and numbers; `statics_problem` says why there are no static loads, if so; `notes` what was done
    to measured data, `warnings` what is doubtful."""

    title: str
    layout: str
    firing: list[tuple[str, float]]
    intervals: list[float]
    masses: list[dict[str, Any]]
    mounts: list[MountLoad]
    statics_problem: str
    throws: list[list[str]]
    displacement: float
    running: list[str]
    gas: list[CylinderGas]
    losses: list[Loss]
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    wheels: list[WheelLoad] = field(default_factory=list)
    seats: list[SeatLoad] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "layout": self.layout,
            "displacement_cc": self.displacement * 1e6,
            "throws": self.throws,
            "firing": [{"cylinder": name, "angle_deg": math.degrees(angle)} for name, angle in self.firing],
            "firing_intervals_deg": [math.degrees(angle) for angle in self.intervals],
            "gas": [alike.as_dict() for alike in self.gas],
            "masses": self.masses,
            "mounts": [
                {
                    "name": mount.name,
                    "between": list(mount.between),
                    "law": mount.law,
                    "static_force_N": mount.force.tolist(),
                    "static_deflection_mm": (1e3 * mount.deflection).tolist(),
                    "frequency_estimate_Hz": mount.frequency,
                }
                for mount in self.mounts
            ],
            "wheels": [wheel.as_dict() for wheel in self.wheels],
            "occupants": [seat.as_dict() for seat in self.seats],
            "losses": [loss.as_dict() for loss in self.losses],
            "statics_problem": self.statics_problem,
            "notes": self.notes,
            "warnings": self.warnings,
        }


def overview(case_file: CaseFile) -> Overview:
    """Understand a case without running it. Raises InputError for what only shows when the engine is resolved."""
    case = case_file.case
    packed = pack(case, case_file.folder)
    mounts, wheels, seats, problem = _static_loads(case, packed)
    layout = packed.layout
    point = run_point(case, case_file.folder) if layout else None
    gas = cycles_alike(point) if point else []
    return Overview(
        title=case.case.title or case_file.name,
        layout=layout_in_words(case, layout) if layout else "no engine",
        firing=layout.firing_sequence() if layout and _fires(case) else [],
        intervals=layout.firing_intervals() if layout and _fires(case) else [],
        masses=_masses(case, packed),
        mounts=mounts,
        statics_problem=problem,
        throws=[[layout.cylinders[index].name for index in throw] for throw in layout.throws] if layout else [],
        displacement=layout.swept_volume if layout else 0.0,
        running=_running(case, packed, gas, [] if point is None else feeding_in_words(point)),
        gas=gas,
        losses=find_losses(case, packed),
        notes=[*packed.remarks.notes, *packed.mount_notes],
        warnings=list(packed.remarks.warnings),
        wheels=wheels,
        seats=seats,
    )


def _reacted_by(engine: Engine) -> str:
    """Where the output torque goes, in words."""
    chain, differential = engine.load.chain, engine.load.differential
    if chain is not None:
        return f"a chain to {chain.body}; wheel torque by {chain.wheel_torque_reacted_by}"
    if differential is not None:
        return f"the differential on {differential.body}; axle torque by {differential.axle_torque_reacted_by}"
    return engine.load.reacted_by or f"{engine.body}, the block itself"


def _running(case: Case, packed: Packed, gas: list[CylinderGas], feeding: list[str]) -> list[str]:
    """Throws, gas, load, friction, sensors and run in a line each, with what was left out said."""
    lines, engine, layout = [], case.engine, packed.layout
    if engine is not None and layout is not None:
        pins = [
            f"{' and '.join(layout.cylinders[index].name for index in throw)} at "
            f"{math.degrees(layout.cylinders[throw[0]].pin):g}°"
            for throw in layout.throws
        ]
        none = " (cylinders at ambient pressure)" if engine.gas.source == "none" else ""
        by = _reacted_by(engine)
        lines.append("throws: " + "; ".join(pins))
        friction = friction_in_words(engine.friction, packed, case.run.speed if case.run else None)
        lines.append(f"gas: {engine.gas.source}{none}; friction: {friction}")
        lines += feeding
        for alike in gas:
            which = "each cylinder" if len(gas) == 1 else f"cylinder {' and '.join(alike.cylinders)}"
            lines.append(f"{which}: {alike.words()}")
        lines.append(f"load: law {engine.load.law}, reacted by {by}")
    sensors = ", ".join(f"{sensor.name} on {sensor.body}" for sensor in case.sensor)
    return [*lines, f"sensors: {sensors or 'none'}", _run_line(case, packed), *_differences(case, packed)]


def _differences(case: Case, packed: Packed) -> list[str]:
    """What makes the cycles of the run differ, and how much of it falls into its record."""
    run, lines = case.run, []
    if run is None or packed.layout is None:
        return []
    if run.variation is not None:
        found, given = found_in_record(packed, run, abs(run.speed) * run.duration), run.variation
        assert found is not None
        words = f"{100.0 * found.asked:g} % of the gross indicated mean pressure, {given.distribution}"
        lag = f", lag correlation {given.lag_correlation:g}" if given.lag_correlation else ""
        got = f"; {found.cycles} cycles of the record"
        if found.found is not None and found.scatter is not None:
            got += f" have {100.0 * found.found:.2g} % (expected scatter {100.0 * found.scatter:.1g} %)"
        lines.append(f"variation: {words}{lag}, seed {given.seed}{got}")
    if run.misfire is not None:
        pattern = " ".join(str(burns) for burns in run.misfire.burns)
        lines.append(f"misfire: cylinder {' and '.join(run.misfire.cylinders)}, cycles {pattern} (0 misfires)")
    return lines


def _run_line(case: Case, packed: Packed) -> str:
    run = case.run
    if run is None:
        return "run: none given; vibsim run needs a [run] table"
    if stepped(run):
        steps = ", ".join(step.kind.replace("_", "-") for step in steps_of(run))
        return f"run: {steps}, at {run.sample_rate:g} Hz, relative tolerance {run.relative_tolerance:g}"
    load = f", load {packed.load:.4g}" if case.engine is not None and depends_on_speed(case.engine) else ""
    if run.load_after is not None:
        speed = "held" if run.hold_speed else "left alone"
        load += f" → {run.load_after:.4g} at {run.step_at:g} s, speed {speed if run.clutch is None else 'left alone'}"
    if run.clutch is not None:
        load += f", clutch '{run.clutch.shaft}' closes from {run.step_at:g} s on, to {run.clutch.capacity:g} N m"
    return (
        f"run: {run.kind.replace('_', ' ')} at {run.speed * 30.0 / math.pi:g} rpm{load}, record of {run.duration:g} s "
        f"at {run.sample_rate:g} Hz, start {run.start}{'' if run.gravity else ', no gravity'}, "
        f"relative tolerance {run.relative_tolerance:g}"
    )


def _fires(case: Case) -> bool:
    engine = case.engine
    if engine is None:
        return False
    told = bool(engine.firing_order) or all(cylinder.fires_at is not None for cylinder in engine.cylinder)
    return told or len(engine.cylinder) == 1


def layout_in_words(case: Case, layout: Layout) -> str:
    """`80° V, three cylinders, four-stroke, 715 cc`; from the banks, whatever the engine is called."""
    assert case.engine is not None
    banks = sorted({round(math.degrees(cylinder.bank) % 360.0, 6) for cylinder in layout.cylinders})
    count = len(layout.cylinders)
    number = COUNTS[count] if count < len(COUNTS) else str(count)
    size = f"{layout.swept_volume * 1e6:.0f} cc"
    stroke_word = "four-stroke" if case.engine.strokes == 4 else "two-stroke"
    shafts = len(case.engine.balance_shaft)
    words = [_arrangement(banks, count), f"{number} cylinder{'s' if count > 1 else ''}", stroke_word, size]
    if len(banks) > 1:
        per_bank = Counter(round(math.degrees(cylinder.bank) % 360.0, 6) for cylinder in layout.cylinders)
        words.append(" + ".join(f"{per_bank[bank]} at {_signed(bank):g}°" for bank in banks))
    throws = len(layout.throws)
    words.append(f"{throws} throw{'s' if throws > 1 else ''}")
    if shafts:
        words.append(f"{shafts} balance shaft{'s' if shafts > 1 else ''}")
    return ", ".join(words)


def _signed(angle: float) -> float:
    return angle - 360.0 if angle > 180.0 else angle


def _arrangement(banks: list[float], count: int) -> str:
    if count == 1:
        return "single"
    if len(banks) == 1:
        return "inline"
    if len(banks) == 2:
        between = abs(_signed((banks[1] - banks[0]) % 360.0))
        return "flat" if abs(between - 180.0) < 1e-6 else f"{between:g}° V"
    return f"{len(banks)} banks"


def _masses(case: Case, packed: Packed) -> list[dict[str, Any]]:
    rows = []
    for index, body in enumerate(case.body):
        row: dict[str, Any] = {"body": body.name, "mass_kg": body.mass}
        if index == packed.model.carrier:
            charging = case.engine.charging if case.engine else None
            row["mass_kg"] += charging.added_mass if isinstance(charging, Charged) else 0.0
            row |= {"moving_parts": body.moving_parts, "pistons_and_rods_kg": packed.model.train.mass}
            row["block_kg"] = float(packed.model.bodies[index]["mass"])
        rows.append(row)
    rows += [{"body": f"wheel {wheel.name}", "mass_kg": wheel.unsprung_mass} for wheel in case.wheel]
    rows += [{"body": f"occupant {occupant.name}", "mass_kg": occupant.mass} for occupant in case.occupant]
    return rows


def _static_loads(case: Case, packed: Packed) -> tuple[list[MountLoad], list[WheelLoad], list[SeatLoad], str]:
    try:
        rest: Equilibrium = equilibrium(packed)
    except RunFailure as failure:
        return [], [], [], str(failure)
    seen = observe(state_at(packed, rest.displacement)[None, :], packed, ())
    loads = []
    for index, mount in enumerate(case.mount):
        force, deflection = seen.mount_force[0, index], seen.mount_deflection[0, index]
        loads.append(MountLoad(mount.name, mount.between, mount.law, force, deflection, _bounce(deflection[2])))
    return loads, wheel_loads(case, seen), seat_loads(case, seen), ""


def _bounce(sag: float) -> float | None:
    """Bounce frequency (Hz) from the static deflection, √(g/δ)/2π (Den Hartog, from memory)."""
    return math.sqrt(STANDARD_GRAVITY / abs(sag)) / (2.0 * math.pi) if abs(sag) > 1e-9 else None
