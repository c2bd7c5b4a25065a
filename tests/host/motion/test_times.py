"""Sample times: the fit that bends, clocks that are off, stamps that are late, and how time goes on over breaks."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from host.motion.motion_streams import DESCRIPTION, block, blocks, joined, read
from quiethand.motion.clock import lower_edge
from quiethand_protocol import Clock, Event, Gap, Note, encode

D = encode(DESCRIPTION)


def clocked(period_of: object, seconds: float, jitter_us: float = 20.0, late: float = 0.0) -> tuple[bytes, np.ndarray]:
    """A stream whose sample k is taken at period_of(k) us, and those times from the first sample on, in s."""
    rng = np.random.default_rng(11)
    number = int(seconds * 1_000 / 10) * 10
    true = period_of(np.arange(number))  # type: ignore[operator]
    data = D
    for first in range(0, number, 10):
        stamp = true[first + 9] + rng.normal(0, jitter_us) + (rng.uniform(0, 40_000) if rng.random() < late else 0)
        data += block(first, 50_000 + stamp)
    return data, (true - true[0]) * 1e-6


@pytest.mark.parametrize("ppm", [-200.0, 200.0, 30_000.0])
def test_a_clock_that_is_off(ppm: float) -> None:
    """200 ppm of a crystal, 3 % of a sensor's own oscillator: times are the device clock's, not the nominal rate's."""
    data, true = clocked(lambda k: k * 1_000 * (1 + ppm * 1e-6), 30)
    motion, facts = read(data)
    assert joined(motion, "time_s") == pytest.approx(true, abs=20e-6)
    assert facts.rate_hz == pytest.approx(1_000 / (1 + ppm * 1e-6), rel=2e-6)
    assert motion[-1].period_s == pytest.approx(1e-3 * (1 + ppm * 1e-6), rel=1e-5)


def test_a_clock_that_drifts_as_it_warms() -> None:
    """0.1 % over the first minutes. A straight line over the whole, the variant not taken, is 7 ms off."""
    data, true = clocked(lambda k: k * 1_000 + 1_000 * 0.001 * 60_000 * (np.exp(-k / 60_000) - 1 + k / 60_000), 120)
    motion, _ = read(data)
    time = joined(motion, "time_s")
    assert np.abs(time - true)[1_000:].max() < 25e-6
    assert np.std((np.diff(time) - np.diff(true)) / 1e-3) < 5e-5
    line = np.polyval(np.polyfit(np.arange(len(true)), true, 1), np.arange(len(true)))
    assert np.abs(line - true).max() > 5e-3


def test_stamps_that_come_late_move_nothing() -> None:
    """One in ten is late by 20 ms in the mean. Least squares, the variant not taken, would be 2 ms late."""
    data, true = clocked(lambda k: k * 1_002.0, 30, late=0.1)
    motion, facts = read(data)
    assert facts.segments == 1
    assert joined(motion, "time_s") == pytest.approx(true, abs=60e-6)


def test_under_a_second_the_nominal_rate_and_a_note() -> None:
    data, _ = clocked(lambda k: k * 1_010.0, 0.9)
    motion, facts = read(data)
    assert np.diff(joined(motion, "time_s")) == pytest.approx(1e-3, abs=1e-12)
    assert facts.rate_hz == 1_000
    assert any("nominal rate" in note for note in facts.notes)


def test_delays_are_taken_off_each_from_its_own_sensor() -> None:
    motion, _ = read(D + b"".join(blocks(1.5)))
    assert motion[0].time_s[0] == 0.0
    assert motion[0].accel_time_s[0] == pytest.approx(-0.001)
    assert motion[0].gyro_time_s[0] == pytest.approx(-0.002)


def _restart(clocks: bool, lateness_ns: int = 0) -> bytes:
    """4 s, 30 s off, then 4 s of another boot; CLOCK once a second, the first of each part late."""
    again = dataclasses.replace(DESCRIPTION, boot=6)
    data = D
    for part, description, host_s in ((0, DESCRIPTION, 1_000), (1, again, 1_034)):
        if part:
            data += encode(again)
        for i, frame in enumerate(blocks(4.0, description=description)):
            data += frame
            if clocks and i % 100 == 49:
                late = lateness_ns if i < 100 else 0
                data += encode(Clock(host_s * 10**9 + (i + 1) * 10**7 + late, (i + 1) * 10_000))
    return data


def test_time_goes_on_by_the_hosts_clock() -> None:
    motion, facts = read(_restart(clocks=True))
    second = [m for m in motion if m.segment == 1]
    assert second[0].time_s[0] == pytest.approx(34.0, abs=1e-4)
    assert facts.segment_list[1].went_on_by == "clock"
    assert any("host's clock" in note for note in facts.notes)
    assert facts.unix_at_zero_s == pytest.approx(1_000.001, abs=1e-4)


def test_without_it_at_once_and_a_note() -> None:
    motion, facts = read(_restart(clocks=False))
    second = [m for m in motion if m.segment == 1]
    assert second[0].time_s[0] == pytest.approx(3.999 + 0.001, abs=1e-6)
    assert facts.segment_list[1].went_on_by == "at_once"
    assert any("at once" in note for note in facts.notes)


def test_a_clock_that_comes_late_is_not_believed_over_one_that_does_not() -> None:
    """The first part's end is told by the lower edge: one of its CLOCKs is 300 ms late."""
    motion, _ = read(_restart(clocks=True, lateness_ns=300_000_000))
    second = [m for m in motion if m.segment == 1]
    # What the new part knows when its first motion is given is one CLOCK, which is late: never early, though.
    assert 34.0 - 1e-4 <= second[0].time_s[0] <= 34.3 + 1e-4


def test_lower_edge_of_points_that_are_never_early() -> None:
    rng = np.random.default_rng(2)
    x = np.arange(120.0)
    y = 5.0 + 30e-6 * x + rng.exponential(0.01, 120)
    offset, slope = lower_edge(list(zip(x.tolist(), y.tolist(), strict=True)))
    assert (y - (offset + slope * x)).min() == pytest.approx(0.0, abs=1e-12)
    assert slope == pytest.approx(30e-6, abs=3e-5)
    assert offset == pytest.approx(5.0, abs=2e-3)


def test_edges_and_notes_stand_on_the_time_line() -> None:
    """EVENT may come before or after the samples around it; a NOTE long after its shot."""
    frames = blocks(40.0)
    frames.insert(1_000, encode(Event(10_500_000, 2, 1)))
    frames.insert(1_500, encode(Event(14_000_000, 2, 0)))
    frames.insert(3_900, encode(Note(ticks=5_000_000, shot=1, right_mm=-12.5, up_mm=4.0)))
    _, facts = read(D + b"".join(frames))
    assert [e.time_s for e in facts.events] == pytest.approx([10.499, 13.999], abs=1e-6)
    assert facts.events[0].values == {"channel": 2, "value": 1}
    assert facts.marks[0].time_s == pytest.approx(4.999, abs=1e-6)
    assert facts.marks[0].values["right_mm"] == -12.5


def test_a_gap_without_clocks_goes_on_at_once() -> None:
    data = b"".join([D, *blocks(2.0), encode(Gap("unplugged")), D, *blocks(2.0, index=50_000, ticks=9_000_000)])
    motion, facts = read(data)
    assert joined(motion, "time_s")[2_000] == pytest.approx(2.0, abs=1e-6)
    assert facts.gaps[0].reason == "unplugged"
    assert facts.lost_samples == 0
