"""The health of a link: noise and gravity at rest against densities that are known, loss, lateness, bytes, words."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from quiethand.commands.link_words import health_object, health_text
from quiethand.emulator import Device, Faults, Scenario, TextDevice
from quiethand.link.health import LinkHealth, LinkWatch
from quiethand.link.health_judge import problems
from quiethand.link.health_rest import Rest, noise_bandwidth_hz
from quiethand_protocol import Command, CommandCode, Description, Samples, encode, status_byte
from scipy import signal

Floats = NDArray[np.float64]
RATE_HZ = 2000.0
GYRO_DENSITY = 0.005  # deg/s/sqrt(Hz)
ACCEL_DENSITY = 120.0  # ug/sqrt(Hz)


def still(seconds: float, bandwidth_hz: float | None, seed: int = 1) -> Floats:
    """White noise of the two densities around gravity, through a second-order low-pass where one is asked for."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    noise = rng.standard_normal((n + 1000, 6)) * np.sqrt(RATE_HZ / 2)
    if bandwidth_hz is not None:
        noise = signal.lfilter(*signal.butter(2, bandwidth_hz, fs=RATE_HZ), noise, axis=0)
    values: Floats = noise[1000:] * ([ACCEL_DENSITY * 9.80665e-6] * 3 + [np.radians(GYRO_DENSITY)] * 3)
    values += np.array([0.0, 0.0, 9.80665, 0.01, -0.02, 0.005])
    return values


def test_noise_bandwidth_is_the_integral_of_the_filter() -> None:
    """Equivalent noise bandwidth, the integral of |H|^2 over frequency (definition; common practice, no source)."""
    f = np.linspace(0, 200.0, 2_000_001)
    integral = float(np.trapezoid(1 / (1 + f**4), f))
    assert noise_bandwidth_hz(1e9, 1.0) == pytest.approx(integral, rel=1e-5)
    assert noise_bandwidth_hz(1000.0, 700.0) == 500.0
    assert noise_bandwidth_hz(1000.0, None) == 500.0


@pytest.mark.parametrize("bandwidth_hz", [None, 200.0])
def test_densities_at_rest_are_those_that_went_in(bandwidth_hz: float | None) -> None:
    rest = Rest(RATE_HZ, bandwidth_hz, bandwidth_hz)
    for piece in np.array_split(still(20.0, bandwidth_hz), 777):
        rest.add(piece)
    found = rest.figures()
    assert found.seconds > 18
    assert found.gravity_m_s2 == pytest.approx(9.80665, abs=0.001)
    assert found.gyro_density_deg_s == pytest.approx(GYRO_DENSITY, rel=0.06)
    assert found.accel_density_ug == pytest.approx(ACCEL_DENSITY, rel=0.06)


@pytest.mark.parametrize(("hz", "deg_s"), [(9.0, 0.3), (1.5, 0.5)])
def test_a_hand_is_not_rest(hz: float, deg_s: float) -> None:
    """Tremor of 8 to 12 Hz and a few tenths of a degree a second, slow sway: the smallest that a held bow shows."""
    values = still(20.0, 200.0)
    time = np.arange(len(values)) / RATE_HZ
    values[:, 3:] += np.radians(deg_s) * np.sin(2 * np.pi * hz * time)[:, None]
    rest = Rest(RATE_HZ, 200.0, 200.0)
    rest.add(values)
    assert rest.figures().seconds == 0.0


def test_few_samples_tell_no_rest() -> None:
    """At 200 Hz a hand still must not pass for noise; at 100 Hz nothing is said."""
    every_tenth = still(60.0, None)[::10]
    quiet, held, few = Rest(200.0, None, None), Rest(200.0, None, None), Rest(100.0, None, None)
    quiet.add(every_tenth)
    few.add(every_tenth)
    sway = np.radians(1.0) * np.sin(2 * np.pi * 9.0 * np.arange(len(every_tenth)) / 200)
    held.add(every_tenth + np.outer(sway, [0, 0, 0, 1, 1, 1]))
    assert quiet.figures().seconds > 50
    assert held.figures().seconds == few.figures().seconds == 0.0


def watched(device: Device | TextDevice, seconds: float, baud: int | None = None) -> LinkWatch:
    watch = LinkWatch(baud)
    out = device.step(0.0, encode(Command(1, CommandCode.START)))
    for n in range(round(seconds / 0.01)):
        watch.take(out, n * 0.01)
        out = device.step((n + 1) * 0.01)
    return watch


def test_a_sound_link() -> None:
    health = watched(Device(Scenario(seed=4)), 12.0, baud=921_600).health()
    assert problems(health) == []
    assert health.rate_hz == pytest.approx(2000, rel=0.005)
    assert health.lost_samples == health.bad_frames == 0
    assert health.late_ms_max is not None
    assert health.late_ms_max < 11  # looked at each 10 ms
    assert health.block_interval_ms == pytest.approx(9.5, rel=0.01)
    assert health.supply_mv == 3700
    assert health.temperature_c == pytest.approx(22.3, abs=0.5)
    # 13 bytes a sample (README.md of the wire format), HEALTH and DESCRIPTION beside it
    assert health.bytes_per_s == pytest.approx(2000 * 13, rel=0.02)
    assert health.line_share == pytest.approx(26_000 / 92_160, rel=0.03)


def test_what_is_wrong_is_told_with_what_to_do() -> None:
    device = Device(Scenario(seed=4, faults=Faults(lose=0.05, corrupt=0.01)))
    watch = watched(device, 12.0, baud=115_200)
    health = watch.health()
    told = dict(problems(health))
    assert all(told.values())
    words = " ".join(told)
    assert "lost in the device" in words
    assert "lost on the line" in words
    assert "bad frames" in words
    assert "the line is" in words
    assert health.lost_samples == pytest.approx(device.lost_samples + device.spoilt_samples, abs=200)


def test_a_restart_is_counted() -> None:
    device = Device(Scenario(seed=4, faults=Faults(restart_after_s=2.0)))
    watch = watched(device, 4.0)
    assert watch.health().restarts == 1
    assert any("restarted" in what for what, _ in problems(watch.health()))


@pytest.mark.parametrize(("sensor", "deg_s", "ug"), [("good", 0.0030, 70.0), ("cheap", 0.0130, 300.0)])
def test_a_sensor_in_software_that_lies_still(sensor: str, deg_s: float, ug: float) -> None:
    """Its noise is white up to half the rate, and the filter that it states is narrower: so 1.8 times at most."""
    rest = watched(Device(Scenario(seed=4, sensor=sensor, still=True)), 20.0).health().rest  # type: ignore[arg-type]
    assert rest.seconds > 15
    assert rest.gravity_m_s2 == pytest.approx(9.80665, abs=0.5)
    assert rest.gyro_density_deg_s is not None
    assert rest.accel_density_ug is not None
    assert deg_s < rest.gyro_density_deg_s < 2.0 * deg_s
    assert ug < rest.accel_density_ug < 2.0 * ug


@cache
def at_rest(scale: float = 1.0, factor: float = 1.0) -> LinkHealth:
    """8 s of a sensor on a table, over a link."""
    said = Description(b"resting!", 1_000_000, 2_000_000, 0.0005, 2e-6, boot=1, sensor="six axes")
    values = still(8.0, None)
    centre = values.mean(axis=0)
    values = centre * ([scale] * 3 + [1.0] * 3) + (values - centre) * factor
    counts = np.rint(values / ([0.0005] * 3 + [2e-6] * 3)).astype(np.int16)
    watch = LinkWatch()
    watch.take(b"\0" + encode(said), 0.0)
    for n in range(len(counts) // 20):
        block = Samples(n * 20, (n + 1) * 10_000, counts[n * 20 : n * 20 + 20], status_byte(0, 0, 1))
        watch.take(encode(block), (n + 1) * 0.01)
    return watch.health()


def test_noise_is_held_against_the_data_sheet() -> None:
    quiet = at_rest()
    assert problems(quiet, (GYRO_DENSITY, ACCEL_DENSITY)) == []
    loud = problems(at_rest(factor=2.0), (GYRO_DENSITY, ACCEL_DENSITY))
    assert [what.split(" noise")[0] for what, _ in loud] == ["rate", "acceleration"]
    light = problems(at_rest(scale=0.95))
    assert "at rest it reads 9.31" in light[0][0]


def test_words_and_json_say_the_same() -> None:
    health = at_rest()
    text = health_text("port", health, (GYRO_DENSITY, None), [])
    assert "six axes" in text
    assert "the data sheet's 0.005" in text
    values = json.loads(health_object("port", health, (GYRO_DENSITY, None), []))
    assert values["all_right"] is True
    assert values["rest"]["gravity_m_s2"] == pytest.approx(9.80665, abs=0.01)
    assert values["samples"] == health.samples


def test_text_mode_has_a_health_too() -> None:
    watch = watched(TextDevice(Scenario(seed=4, rate_hz=200.0)), 8.0)
    health = watch.health()
    assert health.mode == "text"
    assert health.lost_samples is None
    assert health.rate_hz == pytest.approx(200, rel=0.02)
    assert problems(health) == []
    assert health.rest.seconds == 0.0  # the archer holds it
    assert "nobody counts in text mode" in health_text("port", health, (None, None), [])


def test_the_same_in_any_pieces() -> None:
    device = Device(Scenario(seed=4))
    out = device.step(0.0, encode(Command(1, CommandCode.START))) + device.step(3.0)
    one, other = LinkWatch(), LinkWatch()
    one.take(out, 3.0)
    for at in range(0, len(out), 97):
        other.take(out[at : at + 97], 3.0)
    for name in ("samples", "lost_samples", "blocks", "bad_frames", "rest", "temperature_c", "supply_mv"):
        assert getattr(one.health(), name) == getattr(other.health(), name), name
