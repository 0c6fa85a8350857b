"""Sound files: 16-bit PCM in RIFF WAVE with a LIST INFO chunk that says what a full-scale sample stands for.

Layout after the Multimedia Programming Interface and Data Specifications 1.0 (IBM & Microsoft 1991, from memory).
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError, VibsimError

TOP = 32767
HEADROOM = 10.0 ** (-1.0 / 20.0)  # the loudest sample stands 1 dB below full scale


@dataclass(frozen=True, eq=False)
class Sound:
    """Samples (n) in `unit` at a rate (Hz); `name` for a file, `about` what it is, for the metadata."""

    samples: np.ndarray
    rate: int
    unit: str
    name: str
    about: dict[str, Any]

    @property
    def peak(self) -> float:
        return float(np.abs(self.samples).max(initial=0.0))

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(self.samples**2)))


def full_scale_of(sounds: list[Sound]) -> float:
    """What full scale stands for so that the loudest of some sounds of one unit fits: their common gain."""
    return (max(sound.peak for sound in sounds) or 1.0) / HEADROOM


def write_wav(sound: Sound, path: Path, full_scale: float) -> Path:
    """Write one sound; samples beyond full scale (of another file's gain) are cut off, and counted in the metadata.

    Raises VibsimError where the file cannot be written.
    """
    scaled = np.round(sound.samples / full_scale * TOP)
    clipped = int(np.count_nonzero(np.abs(scaled) > TOP))
    about = {
        "full_scale": full_scale,
        "unit": sound.unit,
        "gain_per_unit": 1.0 / full_scale,
        "rms": sound.rms,
        "peak": sound.peak,
        "clipped_samples": clipped,
        **sound.about,
    }
    data = np.clip(scaled, -TOP, TOP).astype("<i2").tobytes()
    info = b"INFO" + _chunk(b"INAM", _text(sound.name)) + _chunk(b"ICMT", _text(json.dumps(about)))
    info += _chunk(b"ISFT", _text("vibsim"))
    form = struct.pack("<HHIIHH", 1, 1, sound.rate, 2 * sound.rate, 2, 16)
    body = b"WAVE" + _chunk(b"fmt ", form) + _chunk(b"LIST", info) + _chunk(b"data", data)
    beside = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(_chunk(b"RIFF", body))
        return beside.replace(path)
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    finally:
        beside.unlink(missing_ok=True)


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def _text(words: str) -> bytes:
    return words.encode("utf-8") + b"\0"


def read_about(path: Path) -> dict[str, Any]:
    """The metadata of a sound file written here. Raises InputError for any other file."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); expected a WAV file of vibsim listen") from None
    place = 12
    while raw[:4] == b"RIFF" and place + 8 <= len(raw):
        name, size = raw[place : place + 4], int(struct.unpack("<I", raw[place + 4 : place + 8])[0])
        if name == b"LIST" and raw[place + 8 : place + 12] == b"INFO":
            found = _comment(raw[place + 12 : place + 8 + size])
            if found is not None:
                return found
        place += 8 + size + size % 2
    raise InputError(f"{path}: has no gain written in it; expected a WAV file of vibsim listen")


def _comment(info: bytes) -> dict[str, Any] | None:
    place = 0
    while place + 8 <= len(info):
        name, size = info[place : place + 4], int(struct.unpack("<I", info[place + 4 : place + 8])[0])
        if name == b"ICMT":
            try:
                found = json.loads(info[place + 8 : place + 8 + size].rstrip(b"\0"))
            except ValueError:
                return None
            return found if isinstance(found, dict) and "full_scale" in found else None
        place += 8 + size + size % 2
    return None
