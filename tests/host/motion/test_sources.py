"""A device's stream and a recording of it: which host frames are heard, and how either mode is told."""

from __future__ import annotations

from host.motion.motion_streams import DESCRIPTION, blocks, joined, read
from quiethand_protocol import Clock, Gap, Header, Health, Log, Note, Session, encode

D = encode(DESCRIPTION)
FRAMES = b"".join(blocks(2.0))


def test_host_frames_from_a_device_are_dropped_and_counted() -> None:
    forged = encode(Gap()) + encode(Session({"sensor": {"gyro_delay": "9 ms"}})) + encode(Clock(5, 6))
    motion, facts = read(D + FRAMES + forged + b"".join(blocks(1.0, index=2_000, ticks=2e6)), source="device")
    assert facts.host_frames_from_device == 3
    assert facts.segments == 1
    assert facts.session is None
    assert {m.gyro_delay_s for m in motion} == {0.002}


def test_what_else_is_said_is_kept() -> None:
    data = encode(Header("2025-11-03T19:00:00Z", "test 1")) + D + FRAMES
    data += encode(Log(2, "warm")) + encode(Note("windy"))
    _, facts = read(data + encode(Health(5_000, 12, 3_700)))
    assert facts.header == {"created": "2025-11-03T19:00:00Z", "software": "test 1"}
    assert [(log.level, log.text) for log in facts.logs] == [(2, "warm")]
    assert facts.remarks == ["windy"]
    assert (facts.samples_taken, facts.lost_in_device, facts.supply_mv) == (5_000, 12, 3_700)
    assert facts.temperature_c == 21.5
    assert facts.descriptions == [DESCRIPTION]
    assert facts.bytes_read == len(data) + len(encode(Health(5_000, 12, 3_700)))


def test_mode_is_told_by_the_bytes() -> None:
    lines = b"# accel_unit=g\n# gyro_unit=deg/s\n" + b"".join(b"%d,0,0,1,0,0,0\n" % (1_000 * i) for i in range(1_500))
    for source in ("recording", "device"):
        assert read(b"boot noise\n" + lines, source=source)[1].mode == "text"
        motion, facts = read(b"boot noise\0" + D + FRAMES, source=source)
        assert facts.mode == "binary"
        assert joined(motion, "time_s").size == 2_000


def test_rubbish_alone_gives_nothing_and_does_not_raise() -> None:
    for data in (b"", b"\0" * 900, b"\xff" * 200_000, bytes(range(256)) * 700):
        for source in ("recording", "device"):
            motion, facts = read(data, source=source)
            assert motion == []
            assert facts.samples == 0
