"""Where a segment opens, what counts as a loss, and counters that wrap: the wire format's tests in their order."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from host.motion.motion_streams import DESCRIPTION, WRAP, block, blocks, joined, read
from quiethand_protocol import Description, Gap, Header, encode

D = encode(DESCRIPTION)
START = blocks(2.0)


def opened_by(*parts: bytes | list[bytes]) -> list[str]:
    data = b"".join(part if isinstance(part, bytes) else b"".join(part) for part in parts)
    _, facts = read(data)
    assert facts.lost_samples == 0
    return [segment.opened_by for segment in facts.segment_list]


def other(**changes: object) -> Description:
    return dataclasses.replace(DESCRIPTION, revision=4, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"uid": b"LANE5-01"}, "uid"),
        ({"boot": 9}, "boot"),
        ({"tick_hz": 2_000_000}, "rate"),
        ({"rate_mhz": 999_000}, "rate"),
    ],
)  # fmt: skip
def test_another_sensor_boot_clock_or_rate_opens_one(changes: dict[str, object], why: str) -> None:
    then = other(**changes)
    ticks = 2_000_000.0 * then.tick_hz / DESCRIPTION.tick_hz
    after = blocks(2.0, index=2_000, ticks=ticks, description=then)
    assert opened_by(D, START, encode(then), after) == ["first", why]


@pytest.mark.parametrize("changes", [{"accel_scale": 0.5}, {"gyro_delay_us": 7}, {"gyro_clip": 9}])
def test_another_scale_or_delay_opens_none(changes: dict[str, object]) -> None:
    then = other(**changes)
    data = b"".join([D, *START, encode(then), *blocks(1.0, index=2_000, ticks=2_000_000, description=then)])
    motion, facts = read(data)
    assert facts.segments == 1
    assert facts.samples == 3_000
    assert motion[0].accel_scale_m_s2 == DESCRIPTION.accel_scale
    assert motion[-1].accel_scale_m_s2 == then.accel_scale
    assert np.allclose(np.diff(joined(motion, "time_s")), 1e-3, atol=1e-9)


def test_first_block_since_power_up() -> None:
    assert opened_by(D, START, block(0, 10_000, flags=4), blocks(1, index=10, ticks=10_000)) == ["first", "restart"]


def test_a_boot_shown_by_the_bits_opens_no_second_segment() -> None:
    again = dataclasses.replace(DESCRIPTION, boot=6)
    held = blocks(0.5, description=again)
    rest = blocks(0.5, index=500, ticks=500_000, description=again)
    assert opened_by(D, START, held, encode(again), rest) == ["first", "boot"]
    # The same, where the block that shows the new boot never gets a description (over 12 s old): it opens it alone.
    late = blocks(0.5, index=14_000, ticks=14_000_000, description=again)
    old = [block(0, 10_000, description=again), *blocks(13.9, index=10, ticks=10_000, description=again)]
    _, facts = read(b"".join([D, *START, *old, encode(again), *late]))
    assert [s.opened_by for s in facts.segment_list] == ["first", "restart"]
    assert facts.lost_samples == 90
    assert facts.unscaled == 1_900
    assert facts.samples == 2_000 + 12_010 + 500


def test_gap_and_a_later_header() -> None:
    after = [D, *blocks(1.0, index=7_000, ticks=2_500_000)]
    assert opened_by(D, START, encode(Gap("unplugged")), after) == ["first", "gap"]
    assert opened_by(encode(Header()), D, START, encode(Header()), after) == ["first", "gap"]


@pytest.mark.parametrize("index", [2_000 + 2**31, 1_990])
def test_index_that_goes_back_opens_one(index: int) -> None:
    """A difference of 2^31 or more is a step back."""
    assert opened_by(D, START, block(index, 2_010_000)) == ["first", "index"]


def test_just_under_it_is_a_loss() -> None:
    """2^31 - 1 samples at 1 ms are 500 wraps of the ticks less 1 ms, so the ticks fit and nothing else opens one."""
    _, facts = read(b"".join([D, *START, block(2_000 + 2**31 - 1, 2_009_000)]))
    assert facts.segments == 1
    assert facts.lost_samples == 2**31 - 1


@pytest.mark.parametrize(("off_us", "segments"), [(49_000, 1), (-49_000, 1), (51_000, 2), (-51_000, 2)])
def test_fifty_milliseconds(off_us: int, segments: int) -> None:
    """At a clock 200 ppm fast, and over a loss of 5 s: by the fitted rate, not by the nominal one."""
    data = [D, *blocks(12.0, ppm=200)]
    late = block(17_000, 17_010 * 1_000 * (1 + 200e-6) + off_us)
    _, facts = read(b"".join([*data, late]))
    assert facts.segments == segments
    assert facts.lost_samples == (5_000 if segments == 1 else 0)


@pytest.mark.parametrize(("off_us", "segments"), [(100_000 + 49_000, 1), (100_000 + 54_000, 2)])
def test_under_a_second_ten_percent_of_the_step_more(off_us: int, segments: int) -> None:
    data = [D, *blocks(0.5), block(500 + 1_000, 1_510_000 + off_us)]
    _, facts = read(b"".join(data))
    assert facts.segments == segments


def test_losses_have_place_and_number() -> None:
    frames = blocks(3.0)
    gone = {60, 61, 150}
    data, offsets = D, []
    for i, frame in enumerate(frames):
        if i not in gone:
            if i - 1 in gone:
                offsets.append(len(data))
            data += frame
    motion, facts = read(data)
    assert facts.lost_samples == 30
    assert [(loss.samples, loss.offset) for loss in facts.losses] == list(zip([20, 10], offsets, strict=True))
    assert [loss.time_s for loss in facts.losses] == pytest.approx([0.599, 1.499], abs=1e-6)
    index = joined(motion, "index")
    assert set(range(3_000)) - set(index.astype(int).tolist()) == {*range(600, 620), *range(1_500, 1_510)}
    assert joined(motion, "time_s") == pytest.approx(index * 1e-3, abs=1e-6)  # no time is made up or closed up


def test_both_counters_wrap() -> None:
    """Ticks wrap every 71.6 minutes at 1 MHz; index after 2^32 samples. Neither opens a segment nor moves a time."""
    data = D + b"".join(blocks(4.0, index=WRAP - 1_990, ticks=WRAP - 1_234_567))
    motion, facts = read(data)
    plain, _ = read(D + b"".join(blocks(4.0)))
    assert facts.segments == 1
    assert facts.lost_samples == 0
    assert joined(motion, "time_s") == pytest.approx(joined(plain, "time_s"), abs=1e-9)


def test_a_loss_over_several_wraps_of_the_ticks() -> None:
    """At 50 MHz ticks wrap every 86 s: a loss of 5 minutes is still within 50 ms modulo 2^32."""
    quick = other(tick_hz=50_000_000)
    data = encode(quick) + b"".join(blocks(12.0, description=quick))
    data += block(312_000, 312_010 * 50_000, description=quick)
    motion, facts = read(data)
    assert facts.segments == 1
    assert facts.lost_samples == 300_000
    assert motion[-1].time_s[-1] == pytest.approx(312.009, abs=1e-3)


def test_blocks_of_all_sizes() -> None:
    rng = np.random.default_rng(8)
    data, index = D, 0
    while index < 5_000:
        n = int(rng.integers(1, 33))
        data += block(index, (index + n) * 1_000, n)
        index += n
    motion, facts = read(data)
    assert facts.samples == index
    assert joined(motion, "time_s") == pytest.approx(np.arange(index) * 1e-3, abs=1e-9)
    assert {len(m) for m in motion[4:-1]} <= set(range(250, 250 + 32))
