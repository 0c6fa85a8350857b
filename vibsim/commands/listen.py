"""`vibsim listen`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_number, print_json

if TYPE_CHECKING:
    from vibsim.post.exhaust_sound import Exhaust
    from vibsim.results.wav import Sound

HELP = "make runs audible: a sensor's acceleration or the firing pulses, as WAV of one common gain"
LONGEST = 120.0  # s
PIPES = (
    ("primary-mm", 50.0, 5000.0, 450.0, "length of the pipe from each cylinder to the junction"),
    ("primary-diameter-mm", 5.0, 500.0, 36.0, "its inner diameter"),
    ("tail-mm", 50.0, 20000.0, 900.0, "length from the junction to the mouth"),
    ("tail-diameter-mm", 5.0, 1000.0, 42.0, "its inner diameter"),
    ("gas-K", 300.0, 1500.0, 750.0, "temperature of the gas in the pipes"),
    ("distance-m", 0.1, 1000.0, 1.0, "from the mouth to the ear"),
)


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("results", type=Path, nargs="+", metavar="RESULT.h5")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--sensor", metavar="NAME", help="the acceleration of this sensor")
    what.add_argument("--exhaust", action="store_true", help="the firing pulses through a simple exhaust")
    parser.add_argument("--axis", choices=("X", "Y", "Z"), help="of the sensor (default the one that moves most)")
    parser.add_argument("--seconds", type=float, default=4.0, help="length made of an exact cycle (default 4)")
    parser.add_argument(
        "--same-gain-as", type=Path, metavar="OTHER.wav", help="as loud as in a file written before by this command"
    )
    for name, _, _, usual, words in PIPES:
        parser.add_argument(f"--{name}", type=float, default=usual, help=f"{words} (default {usual:g})")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="FILE.wav", help="a folder for several results"
    )


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.errors import InputError
    from vibsim.results.hdf5 import read_results
    from vibsim.results.wav import full_scale_of, write_wav
    from vibsim.studies.listen import exhaust_sound, sensor_sound

    check_number("--seconds", options.seconds, 0.1, LONGEST)
    exhaust = _exhaust(options)
    several = len(options.results) > 1
    if several != (options.output.suffix.lower() != ".wav"):
        raise InputError(f"-o: got '{options.output}'; must be a .wav file for one result, a folder for several")
    sounds: list[Sound] = []
    for path in options.results:
        results = read_results(path)
        if options.exhaust:
            sounds.append(exhaust_sound(results, exhaust, options.seconds))
        else:
            sounds.append(sensor_sound(results, options.sensor, options.axis, options.seconds))
    paths = [options.output] if not several else _names(options)
    full_scale = full_scale_of(sounds) if options.same_gain_as is None else _gain_of(options.same_gain_as, sounds[0])
    written = [write_wav(sound, path, full_scale) for sound, path in zip(sounds, paths, strict=True)]
    if options.json:
        print_json({"full_scale": full_scale, "unit": sounds[0].unit, "sounds": _rows(sounds, written)})
        return DONE
    from vibsim.show.listen_tables import print_sounds

    print_sounds(sounds, written, full_scale, options.exhaust)
    return DONE


def _names(options: argparse.Namespace) -> list[Path]:
    from vibsim.inputs.errors import InputError

    word = "exhaust" if options.exhaust else options.sensor.replace("/", "-")
    names = [f"{path.stem}-{word}.wav" for path in options.results]
    if len(set(names)) < len(names):
        raise InputError(f"RESULT.h5: got {[path.name for path in options.results]}; the files' names must differ")
    return [options.output / name for name in names]


def _exhaust(options: argparse.Namespace) -> Exhaust:
    from vibsim.post.exhaust_sound import Exhaust

    given = []
    for name, least, most, _, _ in PIPES:
        value = getattr(options, name.replace("-", "_"))
        check_number(f"--{name}", value, least, most)
        given.append(1e-3 * value if name.endswith("mm") else value)
    return Exhaust(*given)


def _gain_of(path: Path, sound: Sound) -> float:
    from vibsim.inputs.errors import InputError
    from vibsim.results.wav import read_about

    about = read_about(path)
    if about.get("unit") != sound.unit:
        raise InputError(f"--same-gain-as: got '{path}', in {about.get('unit')}; this sound is in {sound.unit}")
    return float(about["full_scale"])


def _rows(sounds: list[Sound], written: list[Path]) -> list[dict]:
    return [
        {"file": str(path), "peak": sound.peak, "rms": sound.rms, "rate_Hz": sound.rate, **sound.about}
        for sound, path in zip(sounds, written, strict=True)
    ]
