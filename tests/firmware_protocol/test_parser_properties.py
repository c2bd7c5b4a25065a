"""What the parser promises of any bytes: no exception, one outcome in any chunking, small loss, bounded memory."""

from __future__ import annotations

import time
import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
import quiethand_protocol as qp
from firmware_protocol.slow_stream import cobs_decode, cobs_encode, crc32_by_bits, sort_of_runs
from firmware_protocol.vector_files import in_pieces, joined, outcomes, plain_blocks, read, vectors
from hypothesis import given, settings
from hypothesis import strategies as st

SOURCES = ["device", "recording", "host"]
LIMITS = {"device": 515, "recording": 65_795, "host": 515}
U8, U16, U32 = (st.integers(0, 2**bits - 1) for bits in (8, 16, 32))
I64 = st.integers(-(2**63), 2**63 - 1)
TEXT = st.text(st.characters(codec="utf-8"), max_size=120)
SHORT = st.text(st.characters(codec="utf-8"), max_size=16)
SCALE = st.floats(min_value=2.0**-100, max_value=2.0**100, width=32)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
LEAF = st.none() | st.booleans() | I64 | FINITE | TEXT
DOCUMENT = st.dictionaries(
    TEXT,
    st.recursive(
        LEAF, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4), max_leaves=8
    ),
    max_size=4,
)
COUNTS = st.lists(
    st.tuples(*[st.integers(-32768, 32767)] * 6),
    min_size=1,
    max_size=32,
).map(lambda rows: np.array(rows, np.int16))
SAMPLES = st.builds(qp.Samples, U32, U32, COUNTS, U8, st.integers(-32768, 32767))
DEVICE_MESSAGES = (
    st.builds(
        qp.Description,
        st.binary(min_size=8, max_size=8),
        st.integers(1, 50_000_000),
        st.integers(1, 2**32 - 1),
        SCALE,
        SCALE,
        *[U16] * 6,
        U32,
        U8,
        SHORT,
        SHORT,
    )
    | st.builds(qp.Log, U8, TEXT)
    | st.builds(qp.Reply, U8, U8, U8, U32)
    | st.builds(qp.Health, U32, U32, U16)
    | st.builds(qp.Event, U32, U8, U8)
)
HOST_MESSAGES = (
    st.builds(qp.Session, DOCUMENT)
    | st.builds(qp.Clock, I64, I64)
    | st.builds(qp.Note, TEXT, st.none() | I64, st.none() | st.integers(1, 500), FINITE, FINITE, FINITE, FINITE)
    | st.builds(qp.Gap, TEXT, I64)
)
# Rubbish that is often nearly a frame: pieces of true frames, delimiters, and single bytes.
PIECES = st.lists(
    st.binary(max_size=20)
    | st.sampled_from([b"\0", b"\0\0", b"\1", b"\xff" + b"a" * 254, b"a" * 600])
    | DEVICE_MESSAGES.map(qp.encode)
    | HOST_MESSAGES.map(qp.encode)
    | SAMPLES.map(qp.encode)
    | st.tuples(SAMPLES.map(qp.encode), st.integers(0, 400)).map(lambda pair: pair[0][: pair[1]]),
    max_size=12,
).map(b"".join)


@given(DEVICE_MESSAGES | HOST_MESSAGES)
def test_round_trip(message: qp.Message) -> None:
    frame = qp.encode(message)
    (item,) = read("recording", [frame])
    assert isinstance(item, qp.Located)
    assert item.message == message
    assert (item.offset, item.end) == (0, len(frame))


@given(st.lists(SAMPLES, min_size=1, max_size=8))
def test_round_trip_of_blocks(blocks: list[qp.Samples]) -> None:
    """Blocks of all sizes together, which takes another way through the code than blocks of one size."""
    (item,) = read("device", [b"".join(map(qp.encode, blocks))])
    assert isinstance(item, qp.Blocks)
    assert item.index.tolist() == [block.index for block in blocks]
    assert item.ticks.tolist() == [block.ticks for block in blocks]
    assert item.status.tolist() == [block.status for block in blocks]
    assert item.temperature.tolist() == [block.temperature for block in blocks]
    assert item.count.tolist() == [len(block.counts) for block in blocks]
    assert np.array_equal(item.counts, np.concatenate([block.counts for block in blocks]))
    assert item.counts.dtype == np.int16
    assert item.counts.flags.c_contiguous


@given(st.lists(st.sampled_from(["block", "block", "odd block", "log", "rubbish"]), max_size=14), st.integers(1, 32))
def test_blocks_of_one_size_between_other_runs(sorts: list[str], size: int) -> None:
    """As a device sends them, and as they are cut out in bulk: none lost, none mixed up, whatever stands between."""
    pieces, wanted = [], []
    for index, sort in enumerate(sorts):
        if "block" in sort:
            rows = size if sort == "block" else size % 32 + 1
            counts = np.arange(index, index + 6 * rows, dtype=np.int16).reshape(rows, 6)
            pieces.append(qp.encode(qp.Samples(index, 2 * index, counts)))
            wanted.append((index, counts.tolist()))
        else:
            pieces.append(qp.encode(qp.Log(1, "ok")) if sort == "log" else b"\1\2\3\4\5\6\7\0")
    found = [one["message"] for one in outcomes(read("recording", [b"".join(pieces)])) if "message" in one]
    assert [(m["index"], m["counts"]) for m in found if m["type"] == "SAMPLES"] == wanted


@given(st.binary(max_size=1200))
def test_framing_agrees_with_the_slow_one(content: bytes) -> None:
    body = bytes([0x85]) + content
    body += crc32_by_bits(body).to_bytes(4, "little")
    assert qp.encode_frame(body[:-4]) == cobs_encode(body) + b"\0"
    assert qp.decode_run(cobs_encode(body)) == body == cobs_decode(cobs_encode(body))


@given(PIECES, st.sampled_from(SOURCES))
def test_every_run_is_judged_as_the_slow_reader_judges_it(data: bytes, source: str) -> None:
    """A run is bad for the one exactly where it is for the other, and every good one comes out as something."""
    runs = sort_of_runs(data, LIMITS[source])
    items = read(source, [data])
    bad = [(start, end) for start, end, sort in runs if sort == "bad"]
    found = [i for i in items if isinstance(i, qp.Trouble) and i.kind in ("bad_frame", "joined")]
    assert sum(trouble.count for trouble in found) == len(bad)
    assert {trouble.offset for trouble in found} <= {start for start, _ in bad}
    assert {trouble.end for trouble in found} <= {end for _, end in bad}
    others = sum(i.count for i in items if isinstance(i, qp.Trouble) and i not in found)
    others += sum(len(i) if isinstance(i, qp.Blocks) else 1 for i in items if not isinstance(i, qp.Trouble))
    assert others == len(runs) - len(bad)


@given(PIECES, st.sampled_from(SOURCES), st.lists(st.integers(0, 3000), max_size=10))
def test_any_chunking_gives_the_same(data: bytes, source: str, cuts: list[int]) -> None:
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    pieces = [data[a:b] for a, b in pairwise(edges)]
    whole = outcomes(read(source, [data]))
    assert outcomes(read(source, pieces)) == whole
    assert outcomes(read(source, in_pieces(data, 1))) == whole
    assert told(read(source, pieces)) == told(read(source, [data]))


def told(items: list[qp.Item]) -> list[object]:
    """Merged items in a form that compares: reasons and offending values too."""
    merged = qp.merge_items(items)
    return [plain_blocks(item) if isinstance(item, qp.Blocks) else item for item in merged]


def small_stream() -> tuple[bytes, list[int]]:
    """A recording of every device message and some blocks, and where its frames begin."""
    rng = np.random.default_rng(5)
    frames = [
        qp.encode(qp.Header("2026-01-10T18:30:00Z", "quiethand")),
        qp.encode(qp.Description(b"12345678", 1_000_000, 1_000_000, 0.0048828125, 0.001, boot=1)),
    ]
    for n in range(6):
        counts = rng.integers(-300, 300, (3, 6)).astype(np.int16)
        frames.append(qp.encode(qp.Samples(3 * n, 3000 * n, counts, qp.status_byte(0, 0, 1), 2200)))
        frames.append(qp.encode([qp.Clock(n, 3000 * n), qp.Log(1, "ok"), qp.Event(5, 1, 0)][n % 3]))
    starts = np.cumsum([0, *map(len, frames)]).tolist()
    return b"".join(frames), starts


def sound(items: list[qp.Item]) -> dict[int, object]:
    """What was read, by the offset of its frame."""
    found: dict[int, object] = {}
    for item in items:
        if isinstance(item, qp.Located):
            found[item.offset] = item.message
        elif isinstance(item, qp.Blocks):
            found |= {one["offset"]: one["message"] for one in plain_blocks(item)}
    return found


@pytest.mark.parametrize("flip", [0x01, 0x80, 0xFF])
def test_any_byte_flipped_loses_at_most_the_frames_touched(flip: int) -> None:
    data, starts = small_stream()
    whole = sound(read("recording", [data]))
    assert set(whole) == set(starts[:-1])
    for at in range(len(data)):
        hurt = bytearray(data)
        hurt[at] ^= flip
        items = read("recording", [bytes(hurt)])
        frame = int(np.searchsorted(starts, at, "right")) - 1
        touched = {starts[frame]} | ({starts[frame + 1]} if at + 1 == starts[frame + 1] else set())
        left = {offset: message for offset, message in sound(items).items() if offset in whole}
        assert {o: m for o, m in whole.items() if o not in touched} == {
            o: m for o, m in left.items() if o not in touched
        }
        lost = [i for i in items if isinstance(i, qp.Trouble)]
        assert lost, at
        assert all(starts[frame] <= trouble.offset < starts[frame] + len(data) for trouble in lost)


def test_any_cut_reads_up_to_the_cut() -> None:
    data, starts = small_stream()
    whole = sound(read("recording", [data]))
    for cut in range(len(data) + 1):
        items = read("recording", [data[:cut]])
        begun = [start for start in starts if start <= cut]
        complete = begun[:-1]
        assert sound(items) == {offset: whole[offset] for offset in complete}
        torn = [i for i in items if isinstance(i, qp.Trouble)]
        if cut == begun[-1]:
            assert torn == []
        else:
            (one,) = torn
            assert (one.kind, one.offset, one.length) == ("bad_frame", begun[-1], cut - begun[-1])


def test_overlong_run_is_not_buffered() -> None:
    """Sixteen megabytes without a delimiter, in pieces: what the parser keeps stays under one run."""
    piece = b"\x55" * (1 << 16)
    for source in SOURCES:
        parser = qp.Parser(source)
        parser.feed(piece)
        tracemalloc.start()
        for _ in range(256):
            parser.feed(piece)
        held, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert held < 150_000
        (item,) = parser.finish()
        assert isinstance(item, qp.Trouble)
        assert item.length == 257 * len(piece)


ADVERSARIAL = {
    "fraction": qp.encode_frame(b'\x81{"a":1e' + b"9" * 65_000 + b"}") * 8,
    "zeros": b"\0" * 2_000_000,
    "no zero": b"\x07" * 2_000_000,
    "tiny runs": b"\1\0" * 500_000,
    "bad stuffing": b"\x07aaaaa\0" * 150_000,
    "tiny frames": qp.encode_frame(b"\x30") * 100_000,
    "nested": qp.encode_frame(b"\x81" + b"[" * 65_000) * 8,
    "nested objects": qp.encode_frame(b"\x81" + b'{"a":' * 13_000) * 8,
    "quotes": qp.encode_frame(b"\x81" + b'"' * 65_000) * 8,
    "backslashes": qp.encode_frame(b"\x81" + b'"' + b"\\" * 65_000) * 8,
    "digits": qp.encode_frame(b'\x81{"a":' + b"9" * 65_000 + b"}") * 8,
}


@pytest.mark.parametrize("name", ADVERSARIAL)
def test_time_is_linear_on_what_was_made_to_be_slow(name: str) -> None:
    """Seconds would mean a quadratic step: each takes well under one, so five leave room for a busy machine."""
    data = ADVERSARIAL[name]
    before = time.process_time()
    items = read("recording", [data])
    assert time.process_time() - before < 5.0
    assert all(isinstance(item, qp.Trouble) for item in items)
    assert len(items) <= 2


@given(st.binary(max_size=300))
@settings(max_examples=300)
def test_a_session_of_any_bytes_is_a_message_or_malformed(payload: bytes) -> None:
    (item,) = read("recording", [qp.encode_frame(b"\x81" + payload)])
    assert isinstance(item, qp.Located) or (isinstance(item, qp.Trouble) and item.kind == "malformed")


def test_refused_by_the_encoder_what_utf8_cannot_carry() -> None:
    for message in (qp.Log(0, "\ud800"), qp.Session({"a": "\udc00"}), qp.Session({"a": float("nan")})):
        with pytest.raises(ValueError):
            qp.encode(message)
    with pytest.raises(ValueError):
        qp.encode_frame(b"")


LINES = st.lists(
    st.binary(max_size=12)
    | st.sampled_from([b"\n", b"\r\n", b"\r", b"#", b"# accel_unit=g\n", b"# gyro_unit=furlong\n", b"x" * 300])
    | st.integers(0, 2**33).map(lambda t: b"%d,1,-2.5,.5,1e2,0,7\n" % t)
    | st.integers(0, 255).map(lambda c: b"5,1,2,3,4,5,6*%02x\r\n" % c),
    max_size=20,
).map(b"".join)


def read_lines(pieces: list[bytes]) -> list[object]:
    parser = qp.TextParser()
    items = qp.merge_text_items([i for piece in pieces for i in parser.feed(piece)] + parser.finish())
    return [
        item
        if isinstance(item, qp.Trouble)
        else (
            item.offset.tolist(),
            item.t_us.tolist(),
            item.step_us.tolist(),
            item.opens_segment.tolist(),
            item.values.tolist(),
            item.units,
        )
        for item in items
    ]


@given(LINES, st.integers(1, 40))
def test_text_in_any_chunking_gives_the_same(data: bytes, size: int) -> None:
    whole = read_lines([data])
    assert read_lines(in_pieces(data, 1)) == whole
    assert read_lines(in_pieces(data, size)) == whole


@given(LINES | PIECES, st.integers(1, 40))
def test_mode_is_settled_by_the_same_byte_in_any_chunking(data: bytes, size: int) -> None:
    def settled(piece_size: int) -> tuple[str | None, int]:
        """The mode, and bytes fed when it was settled, to the end of their piece."""
        detector, fed = qp.ModeDetector(), 0
        for piece in in_pieces(data, piece_size):
            fed += len(piece)
            if detector.feed(piece) is not None:
                break
        return detector.mode, fed

    mode, after = settled(1)
    assert settled(size) == (mode, min(-(-after // size) * size, len(data)))
    assert settled(1 << 20) == (mode, len(data))


def test_many_streams_one_after_the_other_through_one_parser() -> None:
    """State left by one stream does not leak: each vector twice in a row gives its sound messages twice."""
    for vector in vectors("messages"):
        frame = bytes.fromhex(vector["frame"])
        items = outcomes(read(vector["source"], [frame * 3]))
        assert [one["message"] for one in items] == [vector["message"]] * 3
    assert joined([]) == b""


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 900), st.sets(st.integers(0, 899), max_size=5), st.integers(1, 2**32 - 1))
def test_one_pass_over_many_bodies_shows_each_that_does_not_hold(n: int, bad: set[int], flip: int) -> None:
    """The CRC of all bodies at once misses no bad one, first, last or among hundreds; two alike do not cancel."""
    parser = qp.Parser("recording")
    wrong = {k for k in bad if k < n}
    stream = bytearray()
    bodies = [bytes([qp.MessageType.SAMPLES]) + bytes([k]) * 8 + b"\x01\0\0\0" + bytes(12) for k in range(20)]
    sound = [crc32_by_bits(body) for body in bodies]
    for k in range(n):
        crc = sound[k % 20] ^ (flip if k in wrong else 0)
        stream += cobs_encode(bodies[k % 20] + crc.to_bytes(4, "little")) + b"\0"
    parser.feed(b"\0" + bytes(stream))
    parser.finish()
    assert (parser.bad_frames, parser.samples) == (len(wrong), n - len(wrong))
