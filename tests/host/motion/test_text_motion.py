"""Text mode, bare and in TEXT frames: units, times as sent, wraps, restarts, gaps."""

from __future__ import annotations

import numpy as np
import pytest
from host.motion.motion_streams import joined, pieces, read, same_motion
from hypothesis import given, settings
from hypothesis import strategies as st
from quiethand.bow.model import SensorSetup, Setup
from quiethand.motion.block import MotionBlock
from quiethand.motion.facts import RecordingFacts
from quiethand_protocol import Clock, Gap, Header, Text, encode

SI = b"# accel_unit=m/s2\n# gyro_unit=rad/s\n"


def lines(t_us: list[int] | np.ndarray, unit: float = 1.0) -> bytes:
    return b"".join(b"%d,%.3f,0.5,-1,0.25,0,%.4f\n" % (t, (i % 50) * unit, i % 7 * 0.01) for i, t in enumerate(t_us))


def text(data: bytes) -> tuple[list[MotionBlock], RecordingFacts]:
    return read(data)


def test_times_are_as_sent() -> None:
    t = np.cumsum(np.random.default_rng(1).integers(980, 1_021, 3_000)) + 12_345
    motion, facts = text(SI + lines(t))
    assert joined(motion, "time_s") == pytest.approx((t - t[0]) * 1e-6, abs=1e-12)
    assert facts.samples == 3_000
    assert facts.mode == "text"
    assert motion[-1].period_s == pytest.approx(1e-3, rel=0.01)
    assert facts.lost_samples == 0


@pytest.mark.parametrize(
    ("comments", "force", "rate"),
    [
        (SI, 3.0, 0.25),
        (b"# accel_unit=g\n# gyro_unit=deg/s\n", 3 * 9.80665, np.deg2rad(0.25)),
        (b"# accel_unit=counts\n# accel_scale=0.5\n# gyro_unit=counts\n# gyro_scale=0.01\n", 1.5, 0.0025),
    ],
)
def test_units(comments: bytes, force: float, rate: float) -> None:
    motion, _ = text(comments + lines([1_000 * i for i in range(2_000)]))
    assert motion[0].specific_force_m_s2[3, 0] == pytest.approx(force)
    assert motion[0].rate_rad_s[3, 0] == pytest.approx(rate)


def test_units_from_the_setup_file() -> None:
    setup = Setup(sensor=SensorSetup(accel_scale=0.5, gyro_scale=0.01, gyro_bias_rad_s=(0.0005, 0, 0)))
    motion, facts = read(lines([1_000 * i for i in range(2_000)]), setup)
    assert facts.unscaled == 0
    assert motion[0].specific_force_m_s2[3, 0] == pytest.approx(1.5)
    assert motion[0].rate_rad_s[3, 0] == pytest.approx(0.002)


def test_lines_before_the_first_units_are_held_for_twelve_seconds() -> None:
    t = [1_000 * i for i in range(20_000)]
    motion, facts = text(lines(t[:15_000]) + SI + lines(t[15_000:]))
    assert facts.unscaled == 2_999
    assert facts.samples == 17_001
    assert motion[0].index[0] == 2_999
    assert facts.segments == 1


def test_without_units_there_is_no_motion() -> None:
    motion, facts = text(lines([1_000 * i for i in range(2_000)]))
    assert motion == []
    assert facts.unscaled == 2_000


def test_wrap_and_restart() -> None:
    """A step back from under 2^32 that is under 10 s forward is a wrap, any other a restart."""
    t = [(2**32 - 1_000_500 + 1_000 * i) % 2**32 for i in range(2_000)]
    motion, facts = text(SI + lines(t) + lines([1_000 * i for i in range(2_000)]))
    assert facts.segments == 2
    assert joined([m for m in motion if m.segment == 0], "time_s") == pytest.approx(np.arange(2_000) * 1e-3, abs=1e-9)
    assert joined([m for m in motion if m.segment == 1], "time_s")[0] == pytest.approx(2.0, abs=1e-6)  # at once
    assert facts.segment_list[1].went_on_by == "at_once"


def test_gaps_are_reported_and_not_counted() -> None:
    t = [1_000 * i for i in range(3_000) if i not in range(1_500, 1_520)]
    motion, facts = text(SI + lines(t))
    assert facts.lost_samples is None
    assert facts.gap_places == 1
    assert facts.gaps[0].time_s == pytest.approx(1.499)
    assert facts.gaps[0].seconds == pytest.approx(0.021)
    assert joined(motion, "index")[1_500] == 1_520
    assert not facts.whole


def test_lines_that_do_not_parse() -> None:
    good = lines([1_000 * i for i in range(2_000)])
    _, facts = text(SI + good[:5_000] + b"boot: hello\n" + good[5_000:])
    assert facts.bad_lines >= 1
    assert facts.damages[0].offset <= len(SI) + 5_000
    assert not facts.whole


def test_a_torn_last_line() -> None:
    _, facts = text((SI + lines([1_000 * i for i in range(2_000)]))[:-3])
    assert facts.samples == 1_999
    assert facts.bad_lines == 1


def _recorded() -> bytes:
    """TEXT frames with host frames between, a restart and a lost link; time goes on by the host's clock."""
    data = encode(Header("2025-11-03T19:00:00Z", "test")) + encode(Text(SI))
    for part, host_s in ((0, 100), (1, 130)):
        for i in range(0, 4_000, 50):
            chunk = [7_000_000 * part + 1_000 * k for k in range(i, i + 50)]
            data += encode(Text(lines(chunk)))
            if i % 1_000 == 500:
                data += encode(Clock(host_s * 10**9 + (i + 49) * 10**6, chunk[-1]))
        if part == 0:
            data += encode(Gap("unplugged"))
    return data


RECORDED = _recorded()
WHOLE = read(RECORDED)


def test_text_in_a_recording() -> None:
    motion, facts = WHOLE
    assert facts.mode == "text"
    assert facts.segments == 2
    assert facts.samples == 8_000
    assert next(m for m in motion if m.segment == 1).time_s[0] == pytest.approx(30.0, abs=1e-6)
    assert facts.unix_at_zero_s == pytest.approx(100.0)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, len(RECORDED)), max_size=40), st.booleans())
def test_pieces_of_text(cuts: list[int], bare: bool) -> None:
    if bare:
        data = SI + lines([(2**32 - 3_000_000 + 997 * i) % 2**32 for i in range(5_000)]) + lines([5, 1_005, 2_005])
        whole = read(data)
        cuts = [cut % len(data) for cut in cuts]
    else:
        data, whole = RECORDED, WHOLE
    motion, facts = read(pieces(data, cuts))
    same_motion(motion, whole[0])
    assert facts == whole[1]


def test_times_that_repeat_are_spread() -> None:
    """A clock of 4 ms steps under 1 kHz: four lines to a step; time still rises, and the period is right."""
    motion, facts = text(SI + lines([4_000 * (i // 4) for i in range(4_000)]))
    assert joined(motion, "time_s") == pytest.approx(np.arange(4_000) * 1e-3, abs=1e-9)
    assert motion[-1].period_s == pytest.approx(1e-3)
    assert facts.gap_places == 0
    assert any("coarser" in note for note in facts.notes)
