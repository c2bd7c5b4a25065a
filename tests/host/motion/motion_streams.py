"""Streams made with the protocol's encoder, and ways to compare what is read of them."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from quiethand.bow.model import Setup
from quiethand.motion.block import SAMPLED, MotionBlock
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
    """Sample by sample and bit by bit, with all that is stated of each; where blocks are cut goes by the pieces."""
    for name in SAMPLED:
        assert np.array_equal(joined(a, name), joined(b, name)), name
    for name in (f.name for f in dataclasses.fields(MotionBlock) if f.name not in SAMPLED):
        if name not in ("period_s", "fitted"):
            assert _of_each(a, name) == _of_each(b, name), name
    assert _periods(a) == _periods(b)


def _of_each(motion: Sequence[MotionBlock], name: str) -> list[object]:
    """What is stated, with the number of samples in a row that it is stated of."""
    runs: list[list[Any]] = []
    for one in motion:
        value = getattr(one, name)
        if runs and runs[-1][0] == value:
            runs[-1][1] += len(one)
        else:
            runs.append([value, len(one)])
    return list(runs)


def _periods(motion: Sequence[MotionBlock]) -> list[float]:
    """The fitted period at every fiftieth sample."""
    return [one.period_at(index) for one in motion for index in one.index[one.index % 50 == 0].tolist()]
