"""The recorder without any port: what bytes in what pieces become in the file. The rules are those of the wire format's
README, under Frame and Recording."""

from __future__ import annotations

import json
from random import Random

import numpy as np
import pytest
from quiethand.link.recorder import Recorder
from quiethand.link.recording_header import header_object
from quiethand_protocol.encoding import encode
from quiethand_protocol.framing import RUN_LIMIT_LIVE, decode_run, encode_frame
from quiethand_protocol.items import Blocks, Located
from quiethand_protocol.messages import (
    Clock,
    Command,
    CommandCode,
    Description,
    Gap,
    Header,
    Health,
    Log,
    Samples,
    Session,
    Text,
    status_byte,
)
from quiethand_protocol.parser import Parser

DESCRIPTION = Description(b"lane four"[:8], 1_000_000, 1_000_000, 0.01, 0.001, boot=1)
NS = 1_763_200_000_000_000_000


def samples(number: int, count: int = 20) -> bytes:
    counts = np.full((count, 6), number % 1000, dtype=np.int16)
    return encode(Samples(number * count, number * count * 1000, counts, status_byte(0, 0, 1)))


def new(**options: object) -> Recorder:
    recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="0123456789", **options)  # type: ignore[arg-type]
    return recorder


def runs_of(data: bytes) -> list[bytes]:
    return [run for run in data.split(b"\0") if run]


def messages(data: bytes) -> list[object]:
    parser = Parser("recording")
    items = parser.feed(data) + parser.finish()
    return [item.message for item in items if isinstance(item, Located)]


def device_part(data: bytes) -> bytes:
    """The file without the host's frames and without empty runs."""
    return b"".join(run + b"\0" for run in runs_of(data) if not _is_host(run))


def _is_host(run: bytes) -> bool:
    try:
        return decode_run(run)[0] >= 0x80
    except ValueError:
        return False


def test_the_file_opens_with_header_and_session() -> None:
    opening = new(session={"archer": {"name": "Lane 4"}}).open()
    header, session = messages(opening)
    assert header == Header("2026-01-09T18:00:00Z", "test")
    assert session == Session({"archer": {"name": "Lane 4"}})
    assert header_object(opening) == {
        "format": "qhr", "version": 1, "created": "2026-01-09T18:00:00Z", "software": "test", "id": "0123456789",
    }  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_device_bytes_are_verbatim_in_any_pieces(seed: int) -> None:
    random = Random(seed)
    stream = encode(DESCRIPTION) + b"".join(samples(n) for n in range(12)) + encode(Log(1, "hello")) + b"\0\0"
    damaged = bytearray(stream)
    for _ in range(random.randint(0, 4)):
        damaged[random.randrange(len(damaged))] = random.choice([0, 1, 0x80, random.randrange(256)])
    recorder = new()
    file = recorder.open()
    at, now = 0, 0.0
    while at < len(damaged):
        size = random.randint(1, random.choice([3, 400]))
        now += random.choice([0.001, 0.3, 1.2])
        file += recorder.received(bytes(damaged[at : at + size]), now, NS + int(now * 1e9)).write
        if random.random() < 0.5:
            now += random.choice([0.1, 1.1])
            file += recorder.tick(now).write
        at += size
    file += recorder.close()
    # The recorder may cut a run with a 0x00 of its own, so bytes are compared without delimiters.
    assert device_part(file).replace(b"\0", b"") == bytes(damaged).replace(b"\0", b"")
    parser = Parser("recording")
    parser.feed(file)
    parser.finish()
    assert parser.refused is None


def test_whole_frames_are_verbatim_to_the_byte() -> None:
    stream = encode(DESCRIPTION) + b"".join(samples(n) for n in range(200))
    recorder = new()
    recorder.open()
    file = (
        b"".join(recorder.received(stream[at : at + 37], at / 1e4, NS).write for at in range(0, len(stream), 37))
        + recorder.close()
    )
    assert device_part(file) == stream


def test_a_clock_each_second_after_the_frame_it_speaks_of_and_never_early() -> None:
    recorder = new()
    file = recorder.open() + recorder.received(encode(DESCRIPTION), 0.0, NS).write
    for n in range(250):  # 20 ms a block
        now = 0.02 * n
        file += recorder.received(samples(n), now, NS + round(now * 1e9)).write
    file += recorder.close()
    clocks = [m for m in messages(file) if isinstance(m, Clock)]
    assert len(clocks) == 5
    for clock in clocks:
        block = clock.ticks // 20_000
        assert clock.unix_ns == NS + round(0.02 * block * 1e9)  # the instant at which that block was fed
    runs = runs_of(file)
    for place, run in enumerate(runs):
        body = decode_run(run)
        if body[0] == 0x82:
            before = decode_run(runs[place - 1])
            assert int.from_bytes(before[5:9], "little") == json.loads(body[1:-4])["ticks"]


def test_a_host_frame_waits_for_a_delimiter() -> None:
    recorder = new()
    recorder.open()
    recorder.received(encode(DESCRIPTION), 0.0, NS)
    block = samples(0)
    first = recorder.received(block + block[:10], 5.0, NS).write  # a clock is due; the chunk ends in mid-frame
    assert first.startswith(block)
    assert first.endswith(block[:10])
    assert [type(m) for m in messages(first[:-10])] == [Clock]
    assert recorder.received(block[10:], 5.01, NS).write == block[10:]


def _due_clock_in_mid_frame(recorder: Recorder, block: bytes) -> None:
    """Bring the recorder to where a clock waits and the file stands inside a run."""
    recorder.open()
    recorder.received(encode(DESCRIPTION) + samples(0), 0.0, NS)
    recorder.received(block[:20], 0.5, NS)
    recorder._clock(NS, 1, 2.0)  # as a text line or a late frame would; binary clocks come with a delimiter


def test_after_a_second_without_a_delimiter_the_recorder_writes_its_own() -> None:
    recorder, block = new(), samples(1)
    _due_clock_in_mid_frame(recorder, block)
    assert recorder.tick(2.9).write == b""
    written = recorder.tick(3.0).write
    assert written.startswith(b"\0")
    assert [type(m) for m in messages(written)] == [Clock]


def test_after_515_bytes_without_a_delimiter_the_recorder_writes_its_own() -> None:
    recorder, block = new(), samples(1)
    _due_clock_in_mid_frame(recorder, block)
    assert recorder.received(b"\x7f" * (RUN_LIMIT_LIVE - 21), 2.1, NS).write == b"\x7f" * (RUN_LIMIT_LIVE - 21)
    written = recorder.received(b"\x7f", 2.2, NS).write
    assert written.startswith(b"\x7f\0")
    assert [type(m) for m in messages(written[2:])] == [Clock]


def test_a_lost_link_in_mid_frame() -> None:
    recorder = new()
    file = recorder.open() + recorder.received(encode(DESCRIPTION) + samples(0) + samples(1)[:30], 0.0, NS).write
    lost = recorder.link_lost("unplugged", NS + 5).write
    assert lost[0] == 0
    assert messages(lost)[0] == Gap("unplugged", NS + 5)
    file += lost + recorder.received(samples(9), 9.0, NS).write + recorder.close()
    parser = Parser("recording")
    items = parser.feed(file) + parser.finish()
    assert parser.bad_frames == 1  # the frame that was cut
    assert [len(i) for i in items if isinstance(i, Blocks)] == [1, 1]


def test_a_lost_link_between_frames_needs_no_delimiter() -> None:
    recorder = new()
    recorder.open()
    recorder.received(encode(DESCRIPTION) + samples(0), 0.0, NS)
    assert recorder.link_lost("unplugged", NS).write[0] != 0


def test_host_frames_from_a_device_are_dropped_and_counted() -> None:
    forged = encode(Header("2001-01-01T00:00:00Z", "forged")) + encode(Gap("forged", 1))
    large = encode_frame(b"\x83" + b"x" * 60_000)
    stream = encode(DESCRIPTION) + samples(0) + forged + samples(1) + large + samples(2)
    for size in (1, 7, 1000, len(stream)):
        recorder = new()
        file = recorder.open()
        for at in range(0, len(stream), size):
            file += recorder.received(stream[at : at + size], 0.0, NS).write
        file += recorder.close()
        assert recorder.host_frames_from_device == 3
        assert device_part(file) == encode(DESCRIPTION) + samples(0) + samples(1) + samples(2)


def test_a_forged_frame_without_its_delimiter_is_judged_as_it_would_stand_in_the_file() -> None:
    recorder = new()
    recorder.open()
    recorder.received(encode(DESCRIPTION) + samples(0), 0.0, NS)
    assert recorder.received(encode(Gap("forged", 1))[:-1], 0.1, NS).write == b""
    lost = recorder.link_lost("unplugged", NS).write
    assert [m for m in messages(lost) if isinstance(m, Gap)] == [Gap("unplugged", NS)]
    assert recorder.host_frames_from_device == 1


def test_what_only_looks_like_a_host_frame_is_kept() -> None:
    broken = bytearray(encode(Gap("x", 1)))
    broken[5] ^= 1
    recorder = new()
    recorder.open()
    recorder.received(encode(DESCRIPTION), 0.0, NS)
    assert bytes(broken) in recorder.received(bytes(broken), 0.1, NS).write
    assert recorder.host_frames_from_device == 0


def test_memory_is_bounded_whatever_comes() -> None:
    recorder = new()
    recorder.open()
    written = sum(len(recorder.received(b"\x09\x85" + b"\x01" * 998, 0.1 * n, NS).write) for n in range(300))
    assert written > 300_000 - 70_000


def test_text_lines_stand_in_text_frames_as_received() -> None:
    lines = b"# accel_unit=g\n# gyro_unit=deg/s\r\n" + b"".join(b"%d,0,0,1,0,0,0\r\n" % (n * 1000) for n in range(3000))
    for size in (5, 300, len(lines)):
        recorder = new()
        file = recorder.open() + recorder.received(b"ts 3,4\n", 0.0, NS).write
        for at in range(0, len(lines), size):
            file += recorder.received(lines[at : at + size], at / 10_000, NS + at).write
        file += recorder.received(b"12,3", 99.0, NS).write
        file += recorder.link_lost("unplugged", NS).write + recorder.close()
        texts = [m.data for m in messages(file) if isinstance(m, Text)]
        assert b"".join(texts) == b"ts 3,4\n" + lines + b"12,3"
        assert all(t.endswith(b"\n") for t in texts[:-1])
        assert recorder.mode == "text"
        assert [m for m in messages(file) if isinstance(m, Clock)]
        assert all(m.ticks % 1000 == 0 for m in messages(file) if isinstance(m, Clock))


def test_at_most_4_kb_are_held_back_and_nothing_is_lost_of_what_came_before() -> None:
    recorder = new()
    recorder.open()
    babble = b"boot message\xff" * 1000
    early = b"".join(recorder.received(babble[at : at + 500], 0.0, NS).write for at in range(0, len(babble), 500))
    assert early == babble[:-4096]
    late = recorder.received(b"\0" + encode(DESCRIPTION), 0.1, NS).write
    assert late == babble[-4096:] + b"\0" + encode(DESCRIPTION)


def test_bytes_of_no_known_mode_are_kept_at_the_end() -> None:
    recorder = new()
    recorder.open()
    assert recorder.received(b"hello", 0.0, NS).write == b""
    assert recorder.close().startswith(b"hello")


class TestConversation:
    """When to say what, after the wire format's page under Host to device."""

    def commands(self, data: bytes) -> list[int]:
        parser = Parser("host")
        items = parser.feed(data)
        return [i.message.command for i in items if isinstance(i, Located) and isinstance(i.message, Command)]

    def test_describe_every_300_ms_then_no_answer_after_5_s(self) -> None:
        recorder = new()
        recorder.open()
        sent = self.commands(recorder.link_up(10.0).send)
        for step in range(1, 100):
            sent += self.commands(recorder.tick(10.001 + 0.05 * step).send)
        assert sent == [CommandCode.DESCRIBE] * 17  # at 0, 0.3 ... 4.8 s
        assert not recorder.conversation.no_answer
        recorder.tick(15.2)
        assert recorder.conversation.no_answer

    def test_settings_then_start_then_silence(self) -> None:
        recorder = new(rate_mhz=2_000_000)
        recorder.open()
        recorder.link_up(0.0)
        sent = recorder.received(encode(DESCRIPTION), 0.1, NS).send
        assert self.commands(sent) == [CommandCode.SET_RATE]
        assert self.commands(recorder.tick(0.2).send) == []
        assert self.commands(recorder.tick(0.31).send) == [CommandCode.SET_RATE]  # again after 200 ms
        reply = encode_frame(bytes([4, 1, CommandCode.SET_RATE, 0, 0, 0, 0, 0]))
        assert self.commands(recorder.received(reply, 0.4, NS).send) == [CommandCode.START]
        assert self.commands(recorder.tick(0.61).send) == [CommandCode.START]
        recorder.received(samples(0), 0.7, NS)
        assert self.commands(recorder.tick(1.5).send) == []

    @pytest.mark.parametrize("why", ["silence", "boot"])
    def test_a_device_that_was_reset_is_started_again(self, why: str) -> None:
        recorder = new()
        recorder.open()
        recorder.link_up(0.0)
        recorder.received(encode(DESCRIPTION), 0.1, NS)
        recorder.received(samples(0), 0.2, NS)
        if why == "silence":
            assert self.commands(recorder.tick(1.1).send) == []
            assert self.commands(recorder.tick(1.3).send) == [CommandCode.START]
        else:
            again = Description(DESCRIPTION.uid, 1_000_000, 1_000_000, 0.01, 0.001, boot=2)
            assert self.commands(recorder.received(encode(again), 0.3, NS).send) == [CommandCode.START]

    def test_after_a_gap_the_device_is_asked_again_and_another_one_is_named(self) -> None:
        recorder = new()
        recorder.open()
        recorder.link_up(0.0)
        recorder.received(encode(DESCRIPTION) + samples(0), 0.1, NS)
        recorder.link_lost("unplugged", NS)
        assert recorder.tick(0.2).send == b""
        assert self.commands(recorder.link_up(3.0).send) == [CommandCode.DESCRIBE]
        other = Description(b"12345678", 1_000_000, 1_000_000, 0.01, 0.001, boot=2)
        recorder.received(encode(other), 3.1, NS)
        assert "another sensor" in recorder.conversation.complaints[0]

    def test_blocks_that_no_description_fits_make_it_ask(self) -> None:
        recorder = new()
        recorder.open()
        recorder.link_up(0.0)
        recorder.received(encode(DESCRIPTION) + samples(0), 0.1, NS)
        other = encode(Samples(20, 40_000, np.zeros((20, 6), np.int16), status_byte(0, 3, 1)))
        assert CommandCode.DESCRIBE in self.commands(recorder.received(other, 0.5, NS).send)

    def test_stop_at_the_end(self) -> None:
        assert self.commands(new().farewell().send) == [CommandCode.STOP]


def test_losses_are_counted_by_index_and_not_over_a_gap() -> None:
    recorder = new()
    recorder.open()
    recorder.received(encode(DESCRIPTION) + samples(0) + samples(3) + encode(Health(80, 0)) + samples(4), 0.1, NS)
    assert recorder.tally.lost == 40
    recorder.link_lost("unplugged", NS)
    recorder.received(samples(90), 5.0, NS)
    assert (recorder.tally.lost, recorder.tally.samples) == (40, 80)
