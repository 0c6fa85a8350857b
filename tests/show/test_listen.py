"""Runs made audible: the exhaust model, loops without a seam, gain in the metadata, the commands."""

from __future__ import annotations

import json
import math
import struct

import numpy as np
import pytest
from scipy.io import wavfile

from tests.conftest import DEMO
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.post.exhaust_sound import GAMMA, STANDARD_PRESSURE, Exhaust, exhaust_flow, open_share, radiated, transfer
from vibsim.results.hdf5 import write_results
from vibsim.results.wav import HEADROOM, Sound, full_scale_of, read_about, write_wav
from vibsim.studies.listen import exhaust_sound, looped, passing, sensor_sound


def chunks(raw: bytes) -> dict[bytes, bytes]:
    """An independent reading of a RIFF file: every chunk by name, those of the INFO list too."""
    assert raw[:4] == b"RIFF"
    assert raw[8:12] == b"WAVE"
    assert struct.unpack("<I", raw[4:8])[0] == len(raw) - 8
    found, waiting = {}, [raw[12:]]
    while waiting:
        rest = waiting.pop()
        while rest:
            name, (size,) = rest[:4], struct.unpack("<I", rest[4:8])
            found[name] = rest[8 : 8 + size]
            if name == b"LIST":
                assert found[name][:4] == b"INFO"
                waiting.append(found[name][4:])
            rest = rest[8 + size + size % 2 :]
    return found


def tone(peak: float, name: str = "tone") -> Sound:
    return Sound(peak * np.sin(np.linspace(0.0, 60.0, 4001)), 8000, "Pa", name, {"case": "é"})


def test_file_reads_back_with_its_gain(tmp_path) -> None:
    """16 bits: half a step of rounding, full scale over 32767."""
    sound = tone(3.0)
    scale = full_scale_of([sound, tone(5.0)])
    path = write_wav(sound, tmp_path / "a.wav", scale)
    rate, samples = wavfile.read(path)
    assert (rate, samples.dtype) == (8000, np.int16)
    np.testing.assert_allclose(samples / 32767.0 * scale, sound.samples, atol=0.51 * scale / 32767.0)
    assert scale == pytest.approx(tone(5.0).peak / HEADROOM)
    info = chunks(path.read_bytes())
    assert info[b"INAM"] == b"tone\0"
    about = json.loads(info[b"ICMT"].rstrip(b"\0"))
    assert (about["full_scale"], about["unit"], about["clipped_samples"]) == (pytest.approx(scale), "Pa", 0)
    assert about["gain_per_unit"] == pytest.approx(1.0 / scale)
    assert read_about(path) == about
    assert [item.name for item in tmp_path.iterdir()] == ["a.wav"]


def test_too_loud_for_a_given_gain_is_cut_off_and_counted(tmp_path) -> None:
    path = write_wav(tone(2.0), tmp_path / "a.wav", 1.0)
    assert read_about(path)["clipped_samples"] > 100
    assert np.abs(wavfile.read(path)[1]).max() == 32767


def test_no_gain_in_a_file(tmp_path) -> None:
    wavfile.write(tmp_path / "other.wav", 8000, np.zeros(10, np.int16))
    for name in ("other.wav", "none.wav"):
        with pytest.raises(InputError, match=r"expected a WAV file of vibsim listen"):
            read_about(tmp_path / name)


def test_loop_has_no_seam_and_keeps_every_harmonic() -> None:
    """Derived: whole periods in whole samples: harmonic k of m periods stands on line k·m, nothing beside it."""
    at = np.arange(720) / 720
    values = 0.3 + np.cos(2 * np.pi * 3 * at) + 0.2 * np.sin(2 * np.pi * 20 * at)
    samples = looped(values, 0.0301, 1.0, rate=8000)
    lines = np.abs(np.fft.rfft(samples)) / len(samples)
    periods = round(1.0 / 0.0301)
    expected = np.zeros_like(lines)
    expected[[0, 3 * periods, 20 * periods]] = 0.3, 0.5, 0.1
    np.testing.assert_allclose(lines, expected, atol=1e-12)
    assert len(samples) / 8000 == pytest.approx(periods * 0.0301, abs=0.5 / 8000)


def test_nothing_above_half_the_rate_is_folded_back() -> None:
    values = np.cos(2 * np.pi * 200 * np.arange(720) / 720)
    assert np.abs(looped(values, 0.03, 0.5, rate=8000)).max() < 1e-12  # 6.7 kHz


def test_transfer_of_the_pipes() -> None:
    """Laws: what goes in comes out at 0 Hz; a plain pipe with no loss but at its mouth resonates at odd quarters of its
    length with the end correction 0.6133a (Levine & Schwinger 1948), where the gain is 2/(1 − |R|) or less."""
    exhaust = Exhaust(primary_length=0.5, tail_length=0.5, primary_diameter=0.04, tail_diameter=0.04)
    assert abs(transfer(exhaust, 3, np.array([0.0]))[0]) == pytest.approx(1.0, abs=1e-9)
    frequency = np.linspace(5.0, 700.0, 20001)
    gain = np.abs(transfer(exhaust, 1, frequency))
    quarter = exhaust.sound_speed / (4.0 * (1.0 + 0.6133 * 0.02))
    tops = np.flatnonzero((gain[1:-1] > gain[:-2]) & (gain[1:-1] > gain[2:])) + 1
    # friction at the walls lowers the wave speed by about 1 %
    np.testing.assert_allclose(frequency[tops][:2], [quarter, 3.0 * quarter], rtol=0.015)
    k_a = 2.0 * np.pi * quarter / exhaust.sound_speed * 0.02
    assert 3.0 < gain[tops[0]] < 2.0 / (1.0 - 1.0 / math.sqrt(1.0 + k_a**2))


def test_one_pipe_is_a_delay_line() -> None:
    """Independent: echoes added up one by one. Γ at the source 1, at the mouth R: Σ (R·P²)ⁿ·P·(1 − R)."""
    exhaust = Exhaust(primary_length=0.6, tail_length=0.4, primary_diameter=0.05, tail_diameter=0.05)
    frequency = np.array([37.0, 120.0, 411.0])
    ka = 2.0 * np.pi * frequency / exhaust.sound_speed * 0.025
    mouth = -np.exp(-2j * 0.1133 * ka) / (1.0 + 1j * ka)
    omega, c = 2.0 * np.pi * frequency, exhaust.sound_speed
    walls = np.sqrt(0.5 * exhaust.kinematic_viscosity * omega) / (0.025 * c) * (1.0 + (GAMMA - 1.0) / math.sqrt(0.7))
    once = np.exp(-1j * omega / c - walls * (1.0 + 1j))  # of one metre
    echoes = sum((mouth * once**2) ** n for n in range(4000)) * once * (1.0 - mouth)
    np.testing.assert_allclose(transfer(exhaust, 1, frequency), echoes, rtol=1e-9)


def test_monopole() -> None:
    """Law: far from any resonance a slow flow radiates ρ/(4πr)·dQ/dt, and twice as far half of it."""
    rate, count = 8000.0, 8000
    time = np.arange(count) / rate
    flow = 0.01 * np.sin(2.0 * np.pi * 2.0 * time)
    near, far = (radiated(Exhaust(distance=r), 1, flow, rate, periodic=True) for r in (1.0, 2.0))
    expected = 1.2 / (4.0 * np.pi) * 0.01 * 4.0 * np.pi * np.cos(2.0 * np.pi * 2.0 * time)
    np.testing.assert_allclose(near, expected, atol=0.02 * np.abs(expected).max())
    np.testing.assert_allclose(far, 0.5 * near, atol=1e-12)


def test_flow_out_of_a_cylinder() -> None:
    """Law: a shut adiabatic cylinder lets nothing out; at constant pressure the piston's own flow goes out."""
    volume, rate = np.linspace(1e-4, 3e-4, 50), 0.02
    pressure = 2e5 * (1e-4 / volume) ** GAMMA
    shut = exhaust_flow(pressure, -GAMMA * pressure * rate / volume, volume, np.full(50, rate), np.ones(50))
    np.testing.assert_allclose(shut, 0.0, atol=1e-12)
    out = exhaust_flow(np.full(50, STANDARD_PRESSURE), np.zeros(50), volume, np.full(50, -rate), np.ones(50))
    np.testing.assert_allclose(out, rate)
    share = open_share(np.radians([100.0, 130.0, 136.0, 250.0, 369.9, 400.0]), *np.radians([130.0, 370.0]), 12.57, 0.1)
    np.testing.assert_allclose(share, [0.0, 0.0, 1.0, 1.0, 0.0, 0.0], atol=1e-3)


def test_flow_of_the_demo_is_what_its_cycle_burned(demo_results) -> None:
    """Independent: the working cycle's own mass that leaves, at the temperature it leaves the valve with; heat to the
    walls while it flows, and a real gas instead of one γ, make some per cent."""
    from vibsim.engine.operating_point import operating_point
    from vibsim.studies.listen import _flow, engine_of, over_time

    engine, cycle = engine_of(demo_results), demo_results.groups["cycle"]
    times, period = passing(cycle)
    points = 4 * len(times)
    angle = np.interp(
        np.arange(points) * period / points, np.append(times, period), np.append(cycle["cycle_angle"], 4 * math.pi)
    )
    flow = _flow(over_time(cycle, "cylinder_pressure", points), angle, points / period, engine, periodic=True)
    point = operating_point(engine, DEMO.parent, 4000.0 * math.pi / 30.0, 0.35)
    volume = sum(one.exhaust_mass * 287.0 * one.valve_temperature for one in point.cycles) / STANDARD_PRESSURE
    assert flow.mean() * period == pytest.approx(volume, rel=0.1)


def test_sensor_of_a_run(demo_results) -> None:
    """Law: rms over time of the loop is that of the run's time record, less its mean, within its change of speed."""
    sound = sensor_sound(demo_results, "seat", "Z", 2.0)
    index = demo_results.labels("sensor").index("seat")
    record = demo_results["sensor_acceleration"][:, index, 2]
    assert sound.rms == pytest.approx(record.std(), rel=2e-3)
    assert (sound.rate, sound.unit, sound.about["axis"]) == (44100, "m/s2", "Z")
    with pytest.raises(InputError, match="--sensor: got 'seet'; did you mean seat"):
        sensor_sound(demo_results, "seet")


def test_free_record_is_heard_as_it_is(demo_results) -> None:
    from vibsim.results.labelled import Group

    free = Group(demo_results.variables, demo_results.attributes, dict(demo_results.groups))
    del free.groups["cycle"]
    sound = sensor_sound(free, "seat", "X")
    assert (sound.rate, len(sound.samples)) == (10000, 10001)
    assert sound.about["made_of"] == "the time record as it is"
    loop, record = exhaust_sound(demo_results), exhaust_sound(free)
    middle = slice(len(record.samples) // 4, None)  # the pipes have begun to sound
    assert float(np.std(record.samples[middle])) == pytest.approx(loop.rms, rel=0.05)


def test_command(tmp_path, command, demo_results) -> None:
    write_results(demo_results, tmp_path / "demo.h5")
    write_results(demo_results, tmp_path / "again.h5")
    first = tmp_path / "seat.wav"
    code, out, err = command("listen", tmp_path / "demo.h5", "--sensor", "seat", "-o", first, "--seconds", 1)
    assert (code, err) == (0, "")
    assert "one gain for all" in out and out.startswith("v3-80-trike-seat: ")
    assert len(wavfile.read(first)[1]) == pytest.approx(44100, rel=0.02)
    both = tmp_path / "demo.h5", tmp_path / "again.h5"
    code, out, err = command("listen", *both, "--exhaust", "-o", tmp_path / "heard", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert {path.name for path in (tmp_path / "heard").iterdir()} == {"demo-exhaust.wav", "again-exhaust.wav"}
    assert {read_about(tmp_path / "heard" / f"{n}-exhaust.wav")["full_scale"] for n in ("demo", "again")} == {
        found["full_scale"]
    }
    code, out, _ = command(
        "listen", both[0], "--sensor", "floor", "--same-gain-as", first, "-o", tmp_path / "floor.wav"
    )
    assert code == 0
    assert read_about(tmp_path / "floor.wav")["full_scale"] == read_about(first)["full_scale"]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--exhaust", "-o", "a.txt"), "-o: got 'a.txt'; must be a .wav file for one result"),
        (("--exhaust", "-o", "a.wav", "--tail-mm", 2), "--tail-mm: got 2; must be 50 to 20000"),
        (("--exhaust", "-o", "a.wav", "--same-gain-as", "seat.wav"), "--same-gain-as: got 'seat.wav', in m/s2"),
        (("--sensor", "none", "-o", "a.wav"), "--sensor: got 'none'"),
        (("-o", "a.wav"), "one of the arguments --sensor --exhaust is required"),
    ],
)
def test_bad_input(tmp_path, monkeypatch, command, demo_results, words, expected) -> None:
    monkeypatch.chdir(tmp_path)
    write_results(demo_results, tmp_path / "demo.h5")
    write_wav(Sound(np.ones(4), 8000, "m/s2", "seat", {}), tmp_path / "seat.wav", 2.0)
    code, _, err = command("listen", "demo.h5", *words)
    assert code == 2
    assert expected in err


def test_no_pressure_to_hear(demo_results) -> None:
    engine = load_case(DEMO).case.engine
    assert engine is not None
    from vibsim.inputs.models import NoGas

    with pytest.raises(InputError, match="no cylinder pressure"):
        exhaust_sound(demo_results, engine=engine.model_copy(update={"gas": NoGas()}))
