"""Samples that wait for a description that fits them, and what becomes of those for which none comes."""

from __future__ import annotations

import dataclasses

import pytest
from host.motion.motion_streams import DESCRIPTION, block, blocks, joined, pieces, read, same_motion
from quiethand.motion import arrival
from quiethand.motion.stream import MotionStream
from quiethand_protocol import Gap, encode

D = encode(DESCRIPTION)


def test_joined_late() -> None:
    """A host that joins reads DESCRIPTION up to 10 s later: nothing is lost, and times start at the first sample."""
    frames = blocks(12.0)
    motion, facts = read(frames[0][20:] + b"".join(frames[1:900]) + D + b"".join(frames[900:]))
    assert facts.joined_mid_frame == 1
    assert facts.samples == 11_990
    assert facts.unscaled == 0
    assert joined(motion, "time_s")[-1] == pytest.approx(11.989, abs=1e-5)
    assert facts.whole


def test_over_twelve_seconds_is_too_old() -> None:
    frames = blocks(20.0)
    motion, facts = read(b"".join(frames[:1_500]) + D + b"".join(frames[1_500:]))
    assert facts.unscaled == 2_990  # the block just 12 s before is kept
    assert facts.unscaled_blocks == 299
    assert facts.samples == 17_010
    assert facts.lost_samples == 0  # they were received
    assert facts.segments == 1
    assert motion[0].index[0] == 2_990
    assert not facts.whole


def test_none_ever() -> None:
    motion, facts = read(b"".join(blocks(3.0)))
    assert motion == []
    assert facts.unscaled == 3_000
    assert facts.samples == 0
    assert facts.segments == 1


def test_losses_among_the_unscaled_count() -> None:
    frames = blocks(3.0)
    del frames[100:103]
    _, facts = read(b"".join(frames))
    assert facts.lost_samples == 30
    assert facts.losses[0].time_s is None


def test_another_revision_waits_for_its_own() -> None:
    finer = dataclasses.replace(DESCRIPTION, revision=4, accel_scale=DESCRIPTION.accel_scale / 2)
    data = [D, *blocks(1.0), *blocks(1.0, index=1_000, ticks=1e6, description=finer), encode(finer)]
    motion, facts = read(b"".join(data))
    assert facts.samples == 2_000
    assert {m.accel_scale_m_s2: len(m) for m in motion}.keys() == {DESCRIPTION.accel_scale, finer.accel_scale}
    assert facts.segments == 1


def test_revisions_are_told_modulo_eight() -> None:
    later = dataclasses.replace(DESCRIPTION, revision=DESCRIPTION.revision + 8)
    _, facts = read(b"".join([encode(later), *blocks(1.5)]))
    assert facts.samples == 1_500


def test_order_is_kept_behind_what_waits() -> None:
    """Blocks that fit come after some that wait: motion stays in order, whichever description comes first."""
    finer = dataclasses.replace(DESCRIPTION, revision=4)
    data = [
        D,
        *blocks(1.0),
        *blocks(0.5, index=1_000, ticks=1e6, description=finer),
        *blocks(0.5, index=1_500, ticks=1.5e6),
    ]
    motion, facts = read(b"".join([*data, encode(finer)]))
    assert facts.samples == 2_000
    assert joined(motion, "index").tolist() == list(range(2_000))


def test_none_is_in_force_after_a_gap() -> None:
    _, facts = read(b"".join([D, *blocks(1.0), encode(Gap()), *blocks(1.0, index=9_000, ticks=9e6)]))
    assert facts.samples == 1_000
    assert facts.unscaled == 1_000
    assert [s.opened_by for s in facts.segment_list] == ["first", "gap"]


def test_what_waits_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody knows the rate before a description: the bound is on samples, and by block whatever the pieces."""
    monkeypatch.setattr(arrival, "HELD_SAMPLES", 500)
    data = b"".join([*blocks(2.0), D, *blocks(1.5, index=2_000, ticks=2e6)])
    whole, facts = read(data)
    assert facts.unscaled == 1_500
    assert facts.samples == 2_000
    again, _ = read(pieces(data, list(range(0, len(data), 333))))
    same_motion(again, whole)


def test_memory_does_not_grow_with_length() -> None:
    """A stream keeps no more after ten rounds of losses, restarts, rubbish and texts than its lists' bounds allow."""
    stream = MotionStream(mode="binary")
    for round_ in range(40):
        stream.feed(D)
        for i in range(100):
            stream.feed(block(i * 20, (i * 20 + 10) * 1_000, flags=4 if i == 0 else 0) + b"rubbish\0")
        assert len(stream.facts.losses) <= 1_000
        assert len(stream.facts.damages) <= 1_000
        assert round_ + 1 == stream.facts.segments
    stream.finish()
    assert stream.facts.loss_places == 40 * 99
    assert stream.facts.bad_frames == 4_000
    assert len(stream.facts.losses) == 1_000
