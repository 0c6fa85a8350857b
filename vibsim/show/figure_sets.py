"""All figures that a run supports, by set, each with the answer it gives in a line; and why a set is left out.

To add a set, write a function from results, folder and name to figures with their captions and enter it in SETS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import parse_case
from vibsim.results.labelled import Group
from vibsim.show.colour_map_figure import draw_colour_map
from vibsim.show.colour_map_tables import NEAR
from vibsim.show.contributions_figure import draw_contributions
from vibsim.show.exposure_figures import draw_exposure
from vibsim.show.figure_index import captions_of, run_words, write_index
from vibsim.show.figures import FIGURES, draw_figures
from vibsim.show.history_figures import HISTORIES
from vibsim.show.order_figures import draw_found
from vibsim.show.spectra_figures import draw_spectra
from vibsim.show.tables import CAUTION
from vibsim.studies.blame import blame
from vibsim.studies.colour_map import map_of_record
from vibsim.studies.contributions import Contributions, contributions
from vibsim.studies.exposure import HOURS, results_exposure
from vibsim.studies.order_tracking import RPM, OrdersFound, find_orders
from vibsim.studies.spectra import as_rows, spectra_of

FAR_OFF = 0.1  # of the rms: the shares are a hint at best
MOST_SENSORS = 6  # whose contributions are drawn

Captions = dict[Path, str]


@dataclass
class Drawn:
    """Pictures with what each answers, and the sets left out with why."""

    captions: Captions = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)


def draw_sets(results: Group, folder: Path, name: str, only: Iterable[str] = ()) -> tuple[list[Path], Drawn]:
    """Draw the sets named, or all that the results support, with an index page of them; paths, and what was drawn.

    `results` with the record of sensors, crank angle and speed in it. Raises InputError for a named set
    that they do not support.
    """
    asked, drawn = list(dict.fromkeys(only)), Drawn()
    for which in asked or SETS:
        try:
            drawn.captions |= SETS[which](results, folder, name)
        except InputError as error:
            if asked:
                raise InputError(f"--only {which}: {error.problems[0]}") from None
            drawn.left_out[which] = error.problems[0]
    pictures = list(drawn.captions)
    captions = {path.stem: words for path, words in drawn.captions.items()}
    if asked:
        older = [path for path in sorted(folder.glob("*.png")) if path not in drawn.captions]
        captions |= {path.stem: "drawn earlier" for path in older}
        pictures += older
    notes = [f"left out: {which}: {why}" for which, why in drawn.left_out.items()]
    title, words = str(results.attributes["title"]), run_words(results)
    index = write_index(folder, pictures, title, words, captions, CAUTION, notes)
    return [*drawn.captions, index], drawn


def _run(results: Group, folder: Path, name: str) -> Captions:
    captions = captions_of(HISTORIES if "history" in results.groups else FIGURES)
    return {path: captions[path.stem] for path in draw_figures(results, folder)}


def _orders(results: Group, folder: Path, name: str) -> Captions:
    _need_sensors(results)
    found = find_orders(results)
    paths = draw_found(found, None, folder)
    return dict.fromkeys(paths, order_words(found))


def order_words(found: OrdersFound) -> str:
    """Which order is strongest where, and its part of the mean square there."""
    size, orders = found.size(), found.tracked.orders
    picked = found.picked()
    lines = []
    for n, label in enumerate(found.channel.labels):
        table = size[:, picked, n]
        w, o = np.unravel_index(int(table.argmax()), table.shape)
        where = "" if found.exact else f" at most, at {found.tracked.speed[w] * RPM:.0f} rpm"
        whole = float(np.linalg.norm(found.tracked.overall[w, n]))
        part = 0.5 * float(table[w, o]) ** 2 / whole**2 if whole else 0.0
        words = f"{label}: order {orders[picked[o]]:g}, {table[w, o]:.3g} {found.channel.unit}{where}"
        lines.append(f"{words}, {min(part, 1.0):.0%} of the mean square there")
    return "; ".join(lines)


def _spectra(results: Group, folder: Path, name: str) -> Captions:
    found = spectra_of(results, name)
    rows = as_rows(found)
    density, says = rows["density"], []
    for row in rows["sensors"]:
        bands = max(row.get("third_octave", {"": 0.0}).items(), key=lambda item: item[1])
        strongest = f", most in the {bands[0]} Hz band, {bands[1]:.3g}" if bands[0] else ""
        crest = max(zip(row["rms_m_per_s2"], row["crest_factor"], strict=True))[1]
        says.append(f"{row['name']}: {row['total_rms_m_per_s2']:.3g} m/s² rms{strongest}, crest factor {crest:.1f}")
    captions = {
        "third-octave": "; ".join(says),
        "density": f"mean of {density['segments']} Hann segments of {density['segment_s']:.3g} s; a random signal's "
        f"lies within {density['lower_factor']:.2f} to {density['upper_factor']:.2f} times it "
        f"({density['confidence']:.0%})",
        "short-time": "how the acceleration spreads over frequency from moment to moment",
    }
    return {path: captions[path.stem] for path in draw_spectra(found, folder)}


def _exposure(results: Group, folder: Path, name: str) -> Captions:
    found = results_exposure([results], [name], [HOURS])
    words = [f"{day.name}: A(8) {day.level:.3g} m/s², {day.verdict} ({day.values.action:g})" for day in found.days]
    captions = {
        "exposure": f"{HOURS:g} h a day of this: {'; '.join(words)}",
        "exposure-bands": "where in frequency it lies, as it is and as people feel it",
    }
    return {path: captions[path.stem] for path in draw_exposure(found, folder)}


def _contributions(results: Group, folder: Path, name: str) -> Captions:
    _need_sensors(results)
    text, speed = str(results.attributes["case_text"]), results.attributes.get("set_speed_rad_per_s")
    if "cycle" not in results.groups or not text or not speed:
        raise InputError("of a steady run of one case alone; vibsim contributions CASE.toml --speed-rpm for any speed")
    case_file = parse_case(text, Path(), name)
    level = results["sensors/resultant_rms"]
    sensors, captions = results.labels("sensor"), Captions()
    for n in np.argsort(-level)[:MOST_SENSORS]:
        found = contributions(case_file, sensors[n], float(speed), results=results)
        file = f"contributions-{file_word(sensors[n])}.png"
        captions |= dict.fromkeys(draw_contributions(found, folder, file), f"{blame(found).words}; {_off(found)}")
    return captions


def _off(found: Contributions) -> str:
    """How far the linear model is off the run, and what that means for the shares."""
    gap = found.run_gap or 0.0
    words = f"the run differs from this linear model by {100.0 * gap:.1f} % of its rms"
    return words if gap < FAR_OFF else f"{words}: take the shares for a hint, much of the shaking cancels here"


def file_word(name: str) -> str:
    """A name of a part as a part of a file's name."""
    return "".join(letter if letter.isalnum() else "-" for letter in name)


def _colour_map(results: Group, folder: Path, name: str) -> Captions:
    _need_sensors(results)
    found = map_of_record(results)
    peak = max(found.peaks(len(found.orders)), key=lambda item: item["rms"])
    words = f"{found.of}: order {peak['order']:g} is highest, {peak['rms']:.3g} {found.unit} rms at "
    words += f"{peak['speed_rpm']:.0f} rpm ({peak['frequency_Hz']:.1f} Hz)"
    near = [mode for mode in found.modes if abs(mode.frequency - peak["frequency_Hz"]) < NEAR * mode.frequency]
    if near:
        mode = min(near, key=lambda item: abs(item.frequency - peak["frequency_Hz"]))
        words += f", near a mode of {mode.frequency:.1f} Hz, {mode.name}"
    return dict.fromkeys(draw_colour_map(found, folder), words)


def _need_sensors(results: Group) -> None:
    if not results.labels("sensor"):
        raise InputError("the case has no [[sensor]]")


SETS: dict[str, Callable[[Group, Path, str], Captions]] = {
    "run": _run,
    "contributions": _contributions,
    "orders": _orders,
    "colourmap": _colour_map,
    "spectra": _spectra,
    "exposure": _exposure,
}
