"""Streams made with the protocol's encoder, and ways to compare what is read of them."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray
from quiethand.bow.model import Setup
from quiethand.motion.block import MotionBlock
from quiethand.motion.facts import RecordingFacts
from quiethand.motion.stream import MotionStream
from quiethand_protocol import Description, Samples, encode, status_byte

WRAP = 2**32
DESCRIPTION = Description(
    uid=b"LANE4-01", tick_hz=1_000_000, rate_mhz=1_000_000, accel_scale=0.0048828125, gyro_scale=0.001953125,
    accel_clip=32_767, gyro_clip=32_767, accel_delay_us=1_000, gyro_delay_us=2_000, boot=5, revision=3,
    firmware="test", sensor="invented",
)  # fmt: skip
BLOCK = 10


def counts_of(index: int, n: int = BLOCK) -> NDArray[np.int16]:
    """Counts by which every sample can be told from every other: (n, 6)."""
    number = np.arange(index, index + n, dtype=np.int64)
    return np.stack([(number * k + k) % 30_011 - 15_000 for k in (1, 3, 7, 11, 13, 17)], axis=1).astype(np.int16)


def block(index: int, ticks: float, n: int = BLOCK, description: Description = DESCRIPTION, flags: int = 0) -> bytes:
    """One SAMPLES frame of samples `index` to `index + n - 1`, the last taken at `ticks`."""
    status = status_byte(flags, description.revision, description.boot)
    return encode(Samples(index % WRAP, round(ticks) % WRAP, counts_of(index, n), status, 2_150))


def blocks(
    seconds: float, *, index: int = 0, ticks: float = 0.0, description: Description = DESCRIPTION, ppm: float = 0.0
) -> list[bytes]:
    """Frames of `seconds` of samples; `ticks` are of the instant one period before the first sample."""
    period = description.tick_hz * 1000 / description.rate_mhz * (1 + ppm * 1e-6)
    number = round(seconds * description.rate_mhz / 1000 / BLOCK)
    return [block(index + i * BLOCK, ticks + period * (i + 1) * BLOCK, description=description) for i in range(number)]


def pieces(data: bytes, cuts: Sequence[int]) -> list[bytes]:
    edges = [0, *sorted(cuts), len(data)]
    return [data[a:b] for a, b in itertools.pairwise(edges)]


def read(
    data: bytes | Iterable[bytes], setup: Setup | None = None, **how: object
) -> tuple[list[MotionBlock], RecordingFacts]:
    """Motion and facts of bytes, or of pieces of them."""
    stream = MotionStream(setup, **how)  # type: ignore[arg-type]
    motion: list[MotionBlock] = []
    for piece in [data] if isinstance(data, bytes) else data:
        motion += stream.feed(piece)
    return motion + stream.finish(), stream.facts


def joined(motion: Sequence[MotionBlock], name: str) -> NDArray[np.float64]:
    return np.concatenate([getattr(one, name) for one in motion]) if motion else np.empty(0)


def same_motion(a: Sequence[MotionBlock], b: Sequence[MotionBlock]) -> None:
    """Block by block and bit by bit."""
    assert len(a) == len(b)
    for one, other in zip(a, b, strict=True):
        for field in dataclasses.fields(MotionBlock):
            left, right = getattr(one, field.name), getattr(other, field.name)
            if isinstance(left, np.ndarray):
                assert np.array_equal(left, right), field.name
            else:
                assert left == right, field.name
