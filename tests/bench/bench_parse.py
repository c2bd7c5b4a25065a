"""Time to parse a recording against the floor: the least that any reader of these frames must do.

Run `python tests/bench/bench_parse.py`. The floor splits at 0x00, decodes with the compiled cobs package, computes
zlib's CRC of each body, and makes one numpy array of all bytes; the parser is held to 1.5 times that.
"""

from __future__ import annotations

import time
import zlib
from collections.abc import Callable, Iterator, Sequence

import numpy as np
import quiethand_protocol as qp
from cobs import cobs

CHUNK = 1 << 20
SECONDS = 100  # of 19 samples a block at 4 kHz, HEALTH and CLOCK once a second as in a true recording
RATE_HZ = 4000
PER_BLOCK = 19
LIMIT = 1.5


def recording() -> bytes:
    """Invented motion as a recording."""
    rng = np.random.default_rng(20)
    frames = [qp.encode(qp.Header("2026-01-10T18:30:00Z", "bench"))]
    frames.append(qp.encode(qp.Description(b"benchmrk", 1_000_000, RATE_HZ * 1000, 0.0048828125, 0.001, boot=1)))
    blocks = SECONDS * RATE_HZ // PER_BLOCK
    counts = rng.normal(0, 300, (blocks, PER_BLOCK, 6)).astype(np.int16)
    for n in range(blocks):
        index, ticks = n * PER_BLOCK, n * PER_BLOCK * 1_000_000 // RATE_HZ
        frames.append(qp.encode(qp.Samples(index, ticks, counts[n], qp.status_byte(0, 0, 1), 2200)))
        if n % (RATE_HZ // PER_BLOCK) == 0:
            frames += [qp.encode(qp.Health(index, 0)), qp.encode(qp.Clock(ticks * 1000, ticks))]
    return b"".join(frames)


def chunks(data: bytes) -> Iterator[bytes]:
    """The recording as it is read from a file."""
    for at in range(0, len(data), CHUNK):
        yield data[at : at + CHUNK]


def floor(data: bytes) -> int:
    """Bytes of all bodies, by the least work."""
    total, rest = 0, b""
    for chunk in chunks(data):
        *runs, rest = (rest + chunk).split(b"\0")
        bodies = [cobs.decode(run) for run in runs]
        for body in bodies:
            zlib.crc32(body)
        total += len(np.frombuffer(b"".join(bodies), np.uint8))
    return total


def parse(data: bytes) -> int:
    """Samples read by the parser."""
    parser = qp.Parser("recording")
    for chunk in chunks(data):
        parser.feed(chunk)
    parser.finish()
    return parser.samples


def least_s(works: Sequence[Callable[[bytes], int]], data: bytes, tries: int = 9) -> list[float]:
    """The least processor time of each, taken in turns so that a busy machine hurts all alike."""
    least = [float("inf")] * len(works)
    for _ in range(tries):
        for n, work in enumerate(works):
            before = time.process_time()
            work(data)
            least[n] = min(least[n], time.process_time() - before)
    return least


def main() -> None:
    data = recording()
    assert parse(data) == SECONDS * RATE_HZ // PER_BLOCK * PER_BLOCK
    floor_s, parse_s = least_s([floor, parse], data)
    megabytes = len(data) / 1e6
    print(f"recording          {megabytes:8.1f} MB, {SECONDS} s at {RATE_HZ} Hz")
    print(f"floor              {megabytes / floor_s:8.0f} MB/s")
    print(f"parser             {megabytes / parse_s:8.0f} MB/s, {SECONDS / parse_s:,.0f} times real time")
    verdict = "within" if parse_s <= LIMIT * floor_s else "OVER"
    print(f"parser / floor     {parse_s / floor_s:8.2f} ({verdict} {LIMIT})")


if __name__ == "__main__":
    main()
