"""The same bytes in any pieces give the same motion and the same facts, to the last bit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from host.motion.motion_streams import DESCRIPTION, block, blocks, joined, pieces, read, same_motion
from hypothesis import given, settings
from hypothesis import strategies as st
from quiethand.motion.block import SAMPLED, CountedBlock
from quiethand_protocol import Clock, Event, Gap, Header, Health, Note, Session, encode


def _everything() -> bytes:
    """Loss, late ticks, a restart, a gap, another scale, another rate, held blocks, rubbish, host frames."""
    rng = np.random.default_rng(4)
    again = dataclasses.replace(DESCRIPTION, boot=6, revision=0)
    finer = dataclasses.replace(DESCRIPTION, accel_scale=0.0009765625, revision=4)
    quicker = dataclasses.replace(again, rate_mhz=2_000_000, revision=1)
    out = [encode(Header("2025-11-03T19:00:00Z", "test")), encode(Session({"sensor": {"gyro_delay": "1 ms"}}))]
    out.append(encode(DESCRIPTION))
    for i in range(1_300):
        if i in (40, 300, 301, 302, 900):
            continue
        out.append(block(i * 10, 500 + (i + 1) * 10_030 + rng.normal(0, 20) + (9_000 if i % 97 == 0 else 0)))
        if i % 100 == 50:
            out.append(encode(Clock(1_700_000_000 * 10**9 + i * 10_030_000 + i % 7 * 10**6, 500 + (i + 1) * 10_030)))
            out.append(encode(Health(i * 10, 0)) + encode(Event(500 + i * 10_030 + 77, 1, i % 2)))
        if i == 600:
            out.append(b"\0nonsense between\0\0")
    out.append(encode(finer))
    out += blocks(0.6, index=13_000, ticks=13_040_000, description=finer)
    out.append(encode(Note(ticks=9_000_000, shot=1, right_mm=12.0)) + encode(Note(text="windy")))
    out += blocks(1.5, description=again, ticks=1_000)  # held until its description comes
    out.append(encode(again))
    out += blocks(1.5, index=1_500, ticks=1_501_000, description=again)
    out.append(encode(Clock(1_700_000_100 * 10**9, 3_000_000)))
    out.append(encode(Gap("unplugged")))
    out += blocks(0.4, index=90_000, ticks=70_000, description=again)  # waits for a description
    out.append(encode(again))
    out += blocks(0.4, index=90_400, ticks=470_000, description=again)
    out.append(encode(quicker))
    out += blocks(2.5, index=90_800, ticks=870_000, description=quicker)
    out.append(block(95_800, 5_000_000, description=quicker))  # late by 1.6 s: a jump
    return b"".join(out)


EVERYTHING = _everything()
WHOLE = read(EVERYTHING)


def test_the_stream_holds_what_it_should() -> None:
    motion, facts = WHOLE
    assert [s.opened_by for s in facts.segment_list] == ["first", "boot", "gap", "rate", "jump"]
    assert facts.lost_samples == 50
    assert facts.loss_places == 3
    assert facts.unscaled == 0
    assert facts.bad_frames == 1
    assert facts.samples == 12_950 + 600 + 3_000 + 800 + 5_000 + 10
    assert {m.accel_scale_m_s2 for m in motion} == {DESCRIPTION.accel_scale, 0.0009765625}
    assert len(facts.events) == 13
    assert all(b.gyro_delay_s == 0.001 for b in motion)  # the SESSION's, not the stream's 2 ms


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, len(EVERYTHING)), max_size=60))
def test_random_pieces(cuts: list[int]) -> None:
    motion, facts = read(pieces(EVERYTHING, cuts))
    same_motion(motion, WHOLE[0])
    assert facts == WHOLE[1]


@pytest.mark.parametrize("size", [1, 7, 1_000])
def test_small_pieces(size: int) -> None:
    data = EVERYTHING if size > 1 else EVERYTHING[-120_000:]
    whole, whole_facts = read(data)
    motion, facts = read(data[at : at + size] for at in range(0, len(data), size))
    same_motion(motion, whole)
    assert facts == whole_facts


def test_what_was_given_is_never_changed_by_what_comes_later() -> None:
    """Live is replay: motion given by the first part of a stream is the first part of the whole's motion."""
    for cut in (30_000, 90_000, len(EVERYTHING) - 400):
        from quiethand.motion.stream import MotionStream

        early = MotionStream().feed(EVERYTHING[:cut])
        given_ = sum(len(one) for one in early)
        assert given_
        for name in SAMPLED:
            assert np.array_equal(joined(early, name), joined(WHOLE[0], name)[:given_]), name


def test_motion_is_made_of_the_counts_when_it_is_asked_for() -> None:
    """A part of a block, a copy with other motion and the block itself speak of the same samples."""
    block_ = WHOLE[0][0]
    assert isinstance(block_, CountedBlock)
    assert block_.numbers.dtype == np.int16
    rows = slice(100, 250)
    part = block_.part(rows)
    assert np.array_equal(part.numbers, block_.numbers[rows])
    for name in SAMPLED:
        assert np.array_equal(getattr(part, name), getattr(block_, name)[rows]), name
    louder = dataclasses.replace(block_, specific_force_m_s2=2.0 * block_.specific_force_m_s2)
    assert np.array_equal(louder.numbers[:, :3], 2.0 * block_.specific_force_m_s2)
    assert np.array_equal(louder.part(rows).specific_force_m_s2, 2.0 * part.specific_force_m_s2)


def test_time_rises_and_the_index_counts_losses() -> None:
    for number in {m.segment for m in WHOLE[0]}:
        mine = [m for m in WHOLE[0] if m.segment == number]
        assert (np.diff(np.concatenate([m.index for m in mine])) >= 1).all()
    assert (np.diff(np.concatenate([m.time_s for m in WHOLE[0]])) > 0).all()
