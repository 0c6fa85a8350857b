"""Sound files just written, and how loud they are beside each other."""

from __future__ import annotations

import math
from pathlib import Path

from rich.text import Text

from vibsim.post.exhaust_sound import LEFT_OUT
from vibsim.results.wav import HEADROOM, Sound
from vibsim.show.tables import new_console, new_table

REFERENCE = {"Pa": (2e-5, "re 20 µPa"), "m/s2": (1e-6, "re 1 µm/s²")}  # ISO 1683


def print_sounds(sounds: list[Sound], written: list[Path], full_scale: float, exhaust: bool) -> None:
    """One line per file; all have one gain."""
    console = new_console()
    unit = sounds[0].unit
    reference, words = REFERENCE[unit]
    shown = unit.replace("2", "²")
    console.print(Text(verdict(sounds), style="bold"))
    heard = "firing pulses at the mouth of a simple exhaust" if exhaust else "acceleration of a sensor"
    table = new_table(f"Sound: {heard}", "file", "rpm", f"rms {shown}", f"peak {shown}", f"rms dB {words}", "s", "note")
    for sound, path in zip(sounds, written, strict=True):
        note = sound.about["made_of"] + (f", axis {sound.about['axis']}" if "axis" in sound.about else "")
        note += "; cut off, too loud for this gain" if sound.peak > full_scale else ""
        level = f"{20.0 * math.log10(sound.rms / reference):.1f}" if sound.rms > 0.0 else "silent"
        seconds = f"{len(sound.samples) / sound.rate:.2f}"
        rpm = f"{sound.about['mean_speed_rpm']:.0f}"
        table.add_row(Text(str(path)), rpm, f"{sound.rms:.3g}", f"{sound.peak:.3g}", level, seconds, Text(note))
    console.print(table)
    console.print(
        Text(f"one gain for all: full scale is {full_scale:.4g} {shown}, in each file's comment (LIST INFO, ICMT); "
             f"the loudest sample of a gain of its own is {-20.0 * math.log10(HEADROOM):.0f} dB below it"),
        style="dim",
    )  # fmt: skip
    if exhaust:
        console.print(Text(LEFT_OUT), style="dim")


def verdict(sounds: list[Sound]) -> str:
    """How loud one is; of several, how much louder than the faintest."""
    reference, words = REFERENCE[sounds[0].unit]
    ranked = sorted(sounds, key=lambda sound: -sound.rms)
    if ranked[-1].rms <= 0.0:
        return "the faintest is silent"
    loudest = f"{ranked[0].name}: {20.0 * math.log10(ranked[0].rms / reference):.1f} dB {words}"
    if len(ranked) == 1:
        return loudest
    more = ", ".join(f"{20.0 * math.log10(ranked[0].rms / one.rms):.1f} dB above {one.name}" for one in ranked[1:])
    return f"loudest {loudest}, {more}; one gain, so that they are heard as loud as they are beside each other"
