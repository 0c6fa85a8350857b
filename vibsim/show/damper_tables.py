"""A damper at the crank's nose as tables: what was sized, which modes it changes, what runs say of it."""

from __future__ import annotations

import math

import numpy as np
from rich.console import Console
from rich.text import Text

from vibsim.show.tables import new_table, plain_number
from vibsim.studies.damper_modes import matched_modes
from vibsim.studies.damper_runs import DamperRuns
from vibsim.studies.torsion import RPM, Torsion
from vibsim.studies.torsion_damper import Damper, DamperSizing, keys_to_paste


def damper_verdict(sizing: DamperSizing, runs: DamperRuns | None) -> list[str]:
    """What the best damper does, by forecast and by run."""
    best = sizing.sized[0]
    said = [
        f"best damper: {best.found.form}, ring {best.found.inertia:.4g} kg m^2 on {damper_words(best.found)}: the "
        f"worst order's twist falls from {math.degrees(best.worst[0]):.4f}° to {math.degrees(best.worst[2]):.4f}°"
    ]
    if runs is not None:
        before, after = (math.degrees(ran.swing[1]) for ran in (runs.ran[0], runs.ran[-1]))
        said.append(
            f"runs at {runs.speed * RPM:.0f} rpm: twist of the crank over a cycle, peak to peak, {before:.4f}° without "
            f"a damper, {after:.4f}° with it ({100.0 * (after / before - 1.0):+.0f} %)"
        )
    return said


def print_sizing(console: Console, result: Torsion, sizing: DamperSizing, runs: DamperRuns | None) -> None:
    """Dampers by formula and by search, the modes they change, runs, and the best one's keys."""
    before = math.degrees(sizing.sized[0].worst[0])
    heading = (
        f"Damper at the nose for the crank's mode at {sizing.frequency:.1f} Hz without one, {sizing.reduced:.4g} "
        f"kg m^2 there; then {before:.4f}° by the worst order from {sizing.least_order:g} up"
    )
    columns = ("ring\nkg m^2", "share", "by formula", "worst °", "by search", "worst °", "of bare %", "loses W")
    table = new_table(heading, "kind", *columns)
    table.columns[3].justify = table.columns[5].justify = "left"
    for sized in sizing.sized:
        table.add_row(
            sized.found.form,
            f"{sized.found.inertia:.4g}",
            f"{sized.mass_ratio:.3f}",
            damper_words(sized.start),
            f"{math.degrees(sized.worst[1]):.4f}",
            damper_words(sized.found),
            f"{math.degrees(sized.worst[2]):.4f}",
            f"{100.0 * sized.worst[2] / sized.worst[0]:.0f}",
            plain_number(sized.power, 1),
        )
    console.print(table)
    console.print(
        "share: ring's inertia over the mode's at the nose; worst: amplitude of nose against flywheel by one order; "
        "formulas: Den Hartog's optimum absorber",
        style="dim",
    )
    _print_modes(console, result, sizing)
    if runs is not None:
        _print_runs(console, runs)
    if sizing.replaced is not None:
        console.print(Text(f"instead of the rotor '{sizing.replaced}' at the nose; the best one as keys of the case:"))
    else:
        console.print("the best one as keys of the case:")
    console.print(Text(keys_to_paste(sizing.sized[0].found, sizing.replaced or "damper")))


def damper_words(damper: Damper) -> str:
    """Stiffness and damping in a few words."""
    words = [f"{damper.stiffness:.4g} N m/rad"] if damper.stiffness else []
    if damper.damping:
        words.append(f"{damper.damping:.3g} N m s/rad")
    if damper.loss_factor:
        words.append(f"loss factor {damper.loss_factor:.3g}")
    return ", ".join(words)


def _print_modes(console: Console, result: Torsion, sizing: DamperSizing) -> None:
    """The same modes without a damper, with that of the case and with the best one, matched by shape."""
    as_it_is = "" if sizing.replaced is None else f"'{sizing.replaced}' as it is"
    columns = ["no damper Hz", *([f"{as_it_is} Hz", "mode above"] if as_it_is else ["mode above"])]
    table = new_table("The same modes with another damper, matched by shape", "mode of", *columns, "best found Hz")
    for row in matched_modes(result, sizing):
        cells = ["–" if row.bare is None else f"{row.bare:.1f}"]
        if as_it_is:
            cells.append("–" if row.present is None else f"{row.present:.1f}")
        number = row.number
        table.add_row(
            Text(row.what), *cells, "–" if number is None else str(number),
            "–" if row.best is None else f"{row.best:.1f}",
        )  # fmt: skip
    console.print(table)


def _print_runs(console: Console, runs: DamperRuns) -> None:
    heading = f"Verified by runs at {runs.speed * RPM:.0f} rpm, amplitude by order: forecast | run, difference"
    names = [ran.name for ran in runs.ran]
    for words, digits, which in (
        ("nose against flywheel °", 4, "twist"),
        (f"torque in '{runs.shaft}' ± N m", 1, "torque"),
    ):
        table = new_table(f"{heading}: {words}" if which == "twist" else f"The same: {words}", "order", *names)
        for k in runs.strongest:
            pairs = [np.abs([getattr(ran, which)[way][k] for way in (0, 1)]) for ran in runs.ran]
            cells = [_pair(np.degrees(pair) if which == "twist" else pair, digits) for pair in pairs]
            table.add_row(f"{runs.orders[k]:g}", *cells)
        if which == "twist":
            table.add_row("peak to peak", *(_pair(np.degrees(ran.swing), digits) for ran in runs.ran))
        console.print(table)
    late = [ran.name for ran in runs.ran if not ran.settled]
    if late:
        console.print(Text(f"DID NOT SETTLE: {', '.join(late)}"))
    console.print(
        Text(
            "a run has rubber as the viscous damper that loses as much at loss_frequency, dry friction of shafts, the "
            "swing of the crank's speed and the turning inertia of pistons and rods; the forecast has their means"
        ),
        style="dim",
    )


def _pair(pair: np.ndarray, digits: int) -> str:
    forecast, run = float(pair[0]), float(pair[1])
    share = f", {100.0 * (run / forecast - 1.0):+.0f} %" if forecast > 0.0 else ""
    return f"{plain_number(forecast, digits)} | {plain_number(run, digits)}{share}"
