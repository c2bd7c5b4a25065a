"""Devices that restart, babble, fall silent, change their rate, or are another one; hosts that join late; clocks that
are off and that jump: nothing that came is lost, what is missing is marked, no shot is invented. Each prints its
count; QUIETHAND_TROUBLES=50 makes it a long run.
"""

from __future__ import annotations

import os
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from faults.software_link import Wire, read, true_shots
from quiethand.emulator import Device, Faults, Scenario
from quiethand.link.recorder import Recorder
from quiethand_protocol import Blocks, Description, Gap, Header, Located, Message, Parser, encode

TIMES = int(os.environ.get("QUIETHAND_TROUBLES", "4"))
SEED = 20260110
SCENARIO = Scenario(seed=5, rate_hz=1000.0, nuisances="none", every_s=8.0)
LONGEST_AWAY_S = 2.0  # until it streams again without a hand on it


def troubled_times(random: Random, least_s: float, most_s: float) -> list[float]:
    at, times = 3.0, []
    for _ in range(TIMES):
        at += random.uniform(least_s, most_s)
        times.append(at)
    return times


def samples_in(file: bytes) -> int:
    parser = Parser("recording")
    parser.feed(file)
    parser.finish()
    return parser.samples


def test_a_device_that_restarts() -> None:
    times = troubled_times(Random(SEED), 3.0, 20.0)
    device = Device(SCENARIO)
    wire = Wire(device)
    away = []
    for at in times:
        wire.until(at)
        device.power_up(wire.now_s)
        while not device.streaming:
            wire.until(wire.now_s + 0.01)
            assert wire.now_s - at < LONGEST_AWAY_S
        away.append(wire.now_s - at)
    end_s = times[-1] + 12.0
    wire.until(end_s)
    file = wire.ended()
    facts, shots = read(file, SCENARIO)
    print(f"{TIMES} restarts, seed {SEED}: back after at most {max(away):.2f} s")
    assert facts.samples == samples_in(file) == device.sent_samples
    assert facts.segments == TIMES + 1
    assert [s.opened_by for s in facts.segment_list][1:] == ["boot"] * TIMES
    assert facts.lost_samples == 0
    assert facts.unscaled == 0
    all_shots, calm = true_shots(device, end_s, times)
    assert calm <= len(shots) <= all_shots


class Babbles(Device):
    """Prints, spits noise and host frames between its own frames."""

    def __init__(self, scenario: Scenario) -> None:
        self.random = Random(SEED)
        self.babbled = self.host_frames = 0
        super().__init__(scenario)

    def _send(self, message: Message) -> bool:
        if self.random.random() < 0.05:
            self.babbled += 1
            kind = self.random.randrange(4)
            if kind == 0:
                self._out += b"\0sensor: retry 3 of 5\r\n\0"
            elif kind == 1:
                self._out += b"\0" + self.random.randbytes(self.random.randrange(1, 900)) + b"\0"
            elif kind == 2:
                self._out += b"\0" + encode(Header("2026-01-09T18:00:00Z", "not a host"))
                self.host_frames += 1
            else:
                self._out += b"\0" + encode(Gap("not a host"))
                self.host_frames += 1
        return super()._send(message)


def test_a_device_that_babbles() -> None:
    device = Babbles(SCENARIO)
    wire = Wire(device)
    wire.until(40.0)
    file = wire.ended()
    facts, shots = read(file, SCENARIO)
    print(f"{device.babbled} babbles, {device.host_frames} of them host frames; {facts.bad_frames} bad frames")
    assert device.babbled > 50
    assert facts.samples == device.sent_samples
    assert facts.lost_samples == 0
    assert facts.segments == 1  # no HEADER or GAP of the device's was believed
    assert facts.gap_places == 0
    assert wire.recorder.host_frames_from_device == device.host_frames
    assert facts.bad_frames > 0
    all_shots, calm = true_shots(device, 40.0, [])
    assert calm <= len(shots) <= all_shots


def test_a_babble_without_end_is_not_kept_in_memory_and_what_follows_is_read() -> None:
    recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="babble")
    written = recorder.open()
    recorder.link_up(0.0)
    for n in range(300):
        written += recorder.received(b"\xa5" * 1000, n * 0.01, n).write
    device = Device(SCENARIO)
    frames = device.step(0.0) + device.step(0.1, b"")
    held = 300_000 - (len(written) - len(recorder.open()))
    print(f"300 kB without a delimiter, {held} bytes held back")
    assert held < 70_000
    written += recorder.received(b"\0" + frames, 4.0, 1).write
    items = Parser("recording").feed(written)
    assert any(isinstance(item, Located) and isinstance(item.message, Description) for item in items)


def test_a_device_that_goes_silent_and_sampled_on() -> None:
    """The line is dead for some seconds both ways: what was sampled meanwhile is counted as lost to the sample."""
    random = Random(SEED)
    times = troubled_times(random, 4.0, 12.0)
    device = Device(SCENARIO)
    wire = Wire(device)
    dropped = bytearray()

    def dead(data: bytes) -> bytes:
        dropped.extend(data)
        return b""

    ends = []
    for at in times:
        wire.until(at)
        ends.append(at + random.uniform(0.2, 4.0))
        wire.until(ends[-1], dead)
    end_s = ends[-1] + 12.0
    wire.until(end_s)
    facts, shots = read(wire.ended(), SCENARIO)
    parser = Parser("device")
    parser.feed(bytes(dropped))
    print(f"{TIMES} silences, seed {SEED}: {facts.lost_samples} samples lost of {device.sent_samples} sent")
    assert facts.lost_samples == parser.samples
    assert facts.samples == device.sent_samples - parser.samples
    troubles = [at for pair in zip(times, ends, strict=True) for at in np.arange(pair[0], pair[1] + 0.1, 0.1)]
    all_shots, calm = true_shots(device, end_s, troubles)
    assert calm <= len(shots) <= all_shots


def test_a_device_that_falls_asleep() -> None:
    """It stops streaming without a word and without a restart: it is started again."""
    times = troubled_times(Random(SEED), 3.0, 12.0)
    device = Device(SCENARIO)
    wire = Wire(device)
    away = []
    for at in times:
        wire.until(at)
        device._streaming = False
        device._forget()
        while not device.streaming:
            wire.until(wire.now_s + 0.01)
            assert wire.now_s - at < LONGEST_AWAY_S
        away.append(wire.now_s - at)
    wire.until(times[-1] + 5.0)
    facts, _ = read(wire.ended())
    print(f"{TIMES} times asleep, seed {SEED}: awake after at most {max(away):.2f} s")
    assert facts.samples == device.sent_samples
    assert facts.lost_samples == 0  # index stood still
    assert [s.opened_by for s in facts.segment_list][1:] == ["jump"] * TIMES


class LosesItsWord(Device):
    """A DESCRIPTION that announces a change is lost on the line."""

    announcing = False

    def _send(self, message: Message) -> bool:
        if self.announcing and isinstance(message, Description):
            self.announcing = False
            return True
        return super()._send(message)


@pytest.mark.parametrize("announced", [True, False])
def test_a_device_that_changes_its_rate(announced: bool) -> None:
    random = Random(SEED)
    times = troubled_times(random, 2.5, 6.0)
    device = LosesItsWord(SCENARIO)
    wire = Wire(device)
    rates = [1000.0]
    for at in times:
        wire.until(at)
        rates.append(random.choice([rate for rate in (500.0, 1000.0, 2000.0) if rate != rates[-1]]))
        device._change(rate_hz=rates[-1])
        device.announcing = not announced
        device._send(device.description())
    wire.until(times[-1] + 4.0)
    facts, _ = read(wire.ended())
    print(f"{TIMES} changes of rate, seed {SEED}, announced: {announced}; {facts.segments} segments")
    assert facts.samples == device.sent_samples
    assert facts.unscaled == 0
    assert facts.lost_samples == 0
    assert [s.opened_by for s in facts.segment_list][1:] == ["rate"] * TIMES
    for segment, rate in zip(facts.segment_list, rates, strict=True):
        assert segment.rate_hz == pytest.approx(rate, rel=0.01)


class HotSwap:
    """The plug goes from one sensor to another, and back, without the port noticing."""

    def __init__(self, devices: list[Device]) -> None:
        self.devices = devices
        self.plugged = 0

    def step(self, now_s: float, data: bytes = b"") -> bytes:
        outs = [device.step(now_s, data if n == self.plugged else b"") for n, device in enumerate(self.devices)]
        return outs[self.plugged]

    def swap(self, now_s: float) -> None:
        self.plugged = 1 - self.plugged
        self.devices[self.plugged].power_up(now_s)


def test_a_device_that_is_another_one() -> None:
    times = troubled_times(Random(SEED), 3.0, 8.0)
    swap = HotSwap([Device(SCENARIO), Device(Scenario(seed=6, rate_hz=2000.0, nuisances="none"))])
    wire = Wire(swap)
    for at in times:
        wire.until(at)
        swap.devices[swap.plugged]._streaming = False  # pulled
        swap.swap(wire.now_s)
    wire.until(times[-1] + 4.0)
    file = wire.ended()
    facts, _ = read(file)
    uids = [device.uid for device in swap.devices]
    print(f"{TIMES} swaps, seed {SEED}; told: {wire.recorder.conversation.complaints}")
    assert len(set(uids)) == 2
    assert [s.opened_by for s in facts.segment_list][1:] == ["uid"] * TIMES
    for number, segment in enumerate(facts.segment_list):  # never mixed: each at its own sensor's rate
        assert segment.rate_hz == pytest.approx(2000.0 if number % 2 else 1000.0, rel=0.01)
    assert facts.samples == sum(device.sent_samples for device in swap.devices)
    assert facts.lost_samples == 0
    told = wire.recorder.conversation.complaints
    assert any(uids[1].hex() in text and "another sensor answers" in text for text in told)


def test_a_host_that_joins_in_mid_stream() -> None:
    random = Random(SEED)
    joined = 0
    for _ in range(4 * TIMES):
        device = Device(SCENARIO)
        first = Wire(device)
        first.until(random.uniform(1.0, 3.0))
        wire = Wire(device)
        wire.now_s = first.now_s
        missed = [random.randrange(0, 250)]

        def late(data: bytes, missed: list[int] = missed) -> bytes:
            kept = data[missed[0] :]
            missed[0] = max(0, missed[0] - len(data))
            return kept

        before = device.sent_samples
        wire.until(first.now_s + 2.0, late)
        facts, _ = read(wire.ended())
        joined += facts.joined_mid_frame
        assert facts.bad_frames == 0
        assert facts.unscaled == 0
        assert facts.lost_samples == 0
        assert device.sent_samples - before - 2 * 19 <= facts.samples <= device.sent_samples - before
    print(f"{4 * TIMES} hosts joined, {joined} of them in the middle of a frame, seed {SEED}")
    assert joined > TIMES


@pytest.mark.parametrize("ppm", [200.0, -200.0])
def test_a_clock_that_is_off(ppm: float) -> None:
    scenario = Scenario(seed=5, rate_hz=2000.0, nuisances="none", every_s=8.0, faults=Faults(clock_ppm=ppm))
    device = Device(scenario)
    wire = Wire(device)
    wire.until(60.0)
    facts, shots = read(wire.ended(), scenario)
    truth, _ = device.truth_until(60.0)
    first_s = device.sampler.first_s
    releases = [(shot.release_s - first_s) * (1 + ppm * 1e-6) for shot in truth]
    print(f"{ppm:+.0f} ppm, {len(shots)} of {len(releases)} shots")
    assert len(shots) == len(releases)
    for shot, release in zip(shots, releases, strict=True):  # on the device's own clock; over 60 s they part by 12 ms
        assert shot.release_s == pytest.approx(release, abs=0.002)
    assert facts.lost_samples == 0
    assert facts.segments == 1
    # and the host's clock tells when they were: the lower edge of CLOCK
    assert facts.unix_at_zero_s == pytest.approx(1_767_981_600 + first_s, abs=0.02)


class Jumps(Device):
    """A clock that jumps, forward and back."""

    jumped_s = 0.0

    def ticks(self, true_s: float) -> int:
        return super().ticks(true_s + self.jumped_s)


def test_a_clock_that_jumps() -> None:
    random = Random(SEED)
    times = troubled_times(random, 4.0, 16.0)
    device = Jumps(SCENARIO)
    wire = Wire(device)
    sizes = []
    for at in times:
        wire.until(at)
        sizes.append(random.choice([-1, 1]) * 0.08 * 400 ** random.random())
        device._forget()  # its blocks ahead have their ticks already
        device.jumped_s += sizes[-1]
    end_s = times[-1] + 10.0
    wire.until(end_s)
    facts, shots = read(wire.ended(), SCENARIO)
    print(f"{TIMES} jumps of {min(map(abs, sizes)):.2f} to {max(map(abs, sizes)):.1f} s, seed {SEED}")
    assert [s.opened_by for s in facts.segment_list][1:] == ["jump"] * TIMES
    assert facts.lost_samples == 0
    assert facts.samples == device.sent_samples
    all_shots, calm = true_shots(device, end_s, times)
    assert calm <= len(shots) <= all_shots
    # by the host's clock time goes on without the jumps
    begins = [s.start_s for s in facts.segment_list]
    spans = [b - a for a, b in pairwise(begins) if a is not None and b is not None]
    assert spans == pytest.approx(np.diff([0.0, *times]) - np.array([0.3, *[0.0] * (TIMES - 1)]), abs=0.4)


def test_the_file_is_the_same_whatever_pieces_come() -> None:
    """The trouble above is in the bytes, not in how they arrive."""
    device = Babbles(SCENARIO)
    wire = Wire(device)
    wire.until(10.0)
    file = wire.ended()
    whole = [item for item in Parser("recording").feed(file) if isinstance(item, Blocks)]
    parser = Parser("recording")
    pieces = [item for at in range(0, len(file), 131) for item in parser.feed(file[at : at + 131])]
    counts = [np.concatenate([b.counts for b in found if isinstance(b, Blocks)]) for found in (whole, pieces)]
    assert np.array_equal(*counts)
