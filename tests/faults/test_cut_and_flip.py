"""A small recording is cut at every byte and has every byte changed: nothing raises, little is lost, and it is said."""

from __future__ import annotations

import numpy as np
import pytest
from host.motion.motion_streams import DESCRIPTION, block, joined, read
from numpy.typing import NDArray
from quiethand.commands.check import state_of
from quiethand.motion.block import MotionBlock
from quiethand.motion.facts import RecordingFacts
from quiethand_protocol import Clock, Header, Note, Session, encode

BLOCKS = 13


def _frames() -> list[tuple[str, bytes]]:
    """Name and bytes of each frame; a description stands twice, as in any recording of more than 10 s."""
    frames = [("host", encode(Header("2025-11-03T19:00:00Z", "test"))), ("host", encode(Session({"bow": {}})))]
    frames.append(("description", encode(DESCRIPTION)))
    for i in range(BLOCKS):
        frames.append(("samples", block(i * 10, (i + 1) * 10_000)))
        if i == 4:
            frames.append(("host", encode(Clock(1_700_000_000 * 10**9, 50_000))))
        if i == 8:
            frames.append(("description", encode(DESCRIPTION)))
        if i == 11:
            frames.append(("host", encode(Note(text="windy"))))
    return frames


FRAMES = _frames()
WHOLE = b"".join(data for _, data in FRAMES)
STARTS = np.cumsum([0, *(len(data) for _, data in FRAMES)])
FIRST_SAMPLE = {}  # of each SAMPLES frame
for _number, (_name, _) in enumerate(FRAMES):
    if _name == "samples":
        FIRST_SAMPLE[_number] = 10 * len(FIRST_SAMPLE)


def by_counts(motion: list[MotionBlock]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Each sample's number in the recording, which its first count tells, and its force and rate, (n, 6)."""
    if not motion:
        return np.empty(0, dtype=np.int64), np.empty((0, 6))
    values = np.hstack([joined(motion, "specific_force_m_s2"), joined(motion, "rate_rad_s")])
    return np.rint(values[:, 0] / DESCRIPTION.accel_scale).astype(np.int64) + 15_000 - 1, values


MOTION, FACTS = read(WHOLE, mode="binary")
NUMBERS, VALUES = by_counts(MOTION)
ALL = set(NUMBERS.tolist())


def touched(low: int, high: int) -> set[int]:
    """Frames any byte of which lies in low..high."""
    return {i for i in range(len(FRAMES)) if STARTS[i] <= high and low < STARTS[i + 1]}


def lost_of(motion: list[MotionBlock]) -> set[int]:
    """Samples that are not there; all others must be there once and equal to the bit."""
    numbers, values = by_counts(motion)
    assert (np.diff(numbers) > 0).all()
    assert np.isin(numbers, NUMBERS).all()
    assert np.array_equal(values, VALUES[numbers])
    return ALL - set(numbers.tolist())


def samples_of(frames: set[int]) -> set[int]:
    return {FIRST_SAMPLE[f] + k for f in frames & set(FIRST_SAMPLE) for k in range(10)}


def named(facts: RecordingFacts, at: int) -> bool:
    """A place in the facts covers the byte."""
    return any(d.offset - 1 <= at < d.offset + d.length for d in facts.damages)  # a first byte made 0x00 is no run


def test_the_recording_is_small_and_whole() -> None:
    assert 2_000 < len(WHOLE) < 4_000
    assert NUMBERS.tolist() == list(range(BLOCKS * 10))
    assert state_of(FACTS) == "whole"


def test_cut_at_every_byte() -> None:
    print(f"{len(WHOLE)} cuts")
    for cut in range(len(WHOLE)):
        motion, facts = read(WHOLE[:cut], mode="binary")
        whole_frames = int(np.searchsorted(STARTS, cut, side="right")) - 1
        expected = samples_of(set(range(whole_frames, len(FRAMES))))
        assert lost_of(motion) == expected, cut
        torn = cut - int(STARTS[whole_frames])
        assert facts.bad_frames + facts.joined_mid_frame == (1 if torn else 0), cut
        if torn:
            assert named(facts, cut - 1), cut
            assert facts.damages[-1].offset == STARTS[whole_frames]
        if facts.samples:
            assert state_of(facts) == ("damaged" if torn else "whole"), cut
        else:
            assert state_of(facts) == "empty"


@pytest.mark.parametrize("change", ["flip 0x01", "flip 0xFF", "to 0x00"])
def test_every_byte_changed(change: str) -> None:
    changed = 0
    for at in range(len(WHOLE)):
        data = bytearray(WHOLE)
        data[at] = {"flip 0x01": data[at] ^ 1, "flip 0xFF": data[at] ^ 0xFF, "to 0x00": 0}[change]
        if bytes(data) == WHOLE:
            continue
        changed += 1
        motion, facts = read(bytes(data), mode="binary")
        frames = touched(at, at)
        if WHOLE[at] == 0:
            frames |= touched(at + 1, at + 1)  # the delimiter is gone: two frames run together
        lost = lost_of(motion)
        assert lost == samples_of(frames), at  # CRC-32 catches every single changed byte
        assert len(frames) <= 2
        # One run is bad, or two where a new 0x00 splits a frame.
        bad = facts.bad_frames + facts.joined_mid_frame
        assert 1 <= bad <= (2 if data[at] == 0 else 1), at
        assert named(facts, at), at
        # A bad first run after HEADER is what joining a device in mid-frame looks like: placed, and no damage.
        joined = min(frames) in (1, 2)
        assert state_of(facts) == ("whole" if joined and not facts.bad_frames else "damaged"), at
        assert not joined or facts.joined_mid_frame == 1, at
        if lost:
            # What is missing between the first sample and the last is also told as a loss, with its place.
            left = ALL - lost
            inner = {n for n in lost if min(left) < n < max(left)}
            assert facts.lost_samples == len(inner), at
            assert sum(loss.samples for loss in facts.losses) == len(inner)
            if inner:
                after = min(n for n in left if n > max(inner))
                frame = next(f for f, n in FIRST_SAMPLE.items() if n == after)
                assert facts.losses[0].offset == STARTS[frame], at
    print(f"{changed} bytes changed")
    assert changed >= len(WHOLE) - WHOLE.count(0)


def test_a_delimiter_that_is_gone_at_the_end_is_a_torn_tail() -> None:
    motion, facts = read(WHOLE[:-1], mode="binary")
    assert lost_of(motion) == samples_of({len(FRAMES) - 1})
    assert facts.damages[-1].offset == STARTS[-2]


def test_the_only_description_lost_leaves_samples_unscaled_and_says_so() -> None:
    """Not a frame that was touched, but nothing can be made of counts without a scale."""
    data = b"".join(d for name, d in FRAMES if name != "description")
    motion, facts = read(data)
    assert motion == []
    assert facts.unscaled == BLOCKS * 10
    assert sum(place.count for place in facts.unscaled_places) == BLOCKS * 10
    assert facts.unscaled_places[0].offset == STARTS[2]
    assert not facts.whole
