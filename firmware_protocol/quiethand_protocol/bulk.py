"""Many runs at once: which hold what, and the samples of all SAMPLES frames as arrays, no Python object per sample."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import compress
from typing import Final
from zlib import crc32

import numpy as np
from cobs import cobs
from numpy.typing import NDArray

from quiethand_protocol.encoding import SAMPLES_PER_BLOCK_LIMIT
from quiethand_protocol.framing import BODY_LIMIT, BODY_MINIMUM, CRC_RESET, CRC_RESIDUE, RUN_MINIMUM
from quiethand_protocol.items import Blocks
from quiethand_protocol.messages import MessageType

__all__ = ["BAD_COBS", "BAD_CRC", "OTHER", "OVERLONG", "SAMPLES", "TOO_SHORT", "Sorted", "sort_runs"]

# What a run is. SAMPLES are sound in every respect; OTHER has a CRC that holds, and needs a closer look.
SAMPLES: Final = 0
OTHER: Final = 1
OVERLONG: Final = 2
BAD_COBS: Final = 3
TOO_SHORT: Final = 4
BAD_CRC: Final = 5

_HEAD: Final = 13  # bytes of a SAMPLES body before its counts
_COUNT_AT: Final = 9
_EMPTY: Final = Blocks(
    np.empty(0, np.int64),
    np.empty(0, np.uint32),
    np.empty(0, np.uint32),
    np.empty(0, np.uint8),
    np.empty(0, np.uint8),
    np.empty(0, np.int16),
    np.empty((0, 6), np.int16),
)


@dataclass(frozen=True, slots=True)
class Sorted:
    """Runs with their sort, in stream order."""

    sort: NDArray[np.int8]  # (n,)
    bodies: list[bytes]  # n of them; empty where no COBS held
    samples: Blocks  # all runs of sort SAMPLES


@lru_cache(maxsize=64)
def _layout(size: int, count: int) -> np.dtype[np.void]:
    return np.dtype(
        {
            "names": ["index", "ticks", "count", "status", "temperature", "counts"],
            "formats": ["<u4", "<u4", "u1", "u1", "<i2", ("<i2", (count, 6))],
            "offsets": [1, 5, 9, 10, 11, _HEAD],
            "itemsize": size,
        }
    )


def _decode_all(runs: list[bytes]) -> list[bytes]:
    bodies: list[bytes] = []
    rest = iter(runs)
    while True:
        try:
            bodies.extend(map(cobs.decode, rest))
            return bodies
        except cobs.DecodeError:
            # What was decoded before the bad one is kept, and `rest` stands behind it.
            bodies.append(b"")


def _spaced(bodies: list[bytes]) -> bytes:
    """All bodies, CRC_RESET behind each."""
    return CRC_RESET.join([*bodies, b""])


def _hold(bodies: list[bytes], joined: bytes) -> NDArray[np.bool_]:
    """Which bodies' CRC holds, (n,): nearly always all, which one pass shows; else each is looked at."""
    if crc32(joined) == 0:
        return np.ones(len(bodies), np.bool_)
    return np.asarray(np.fromiter(map(crc32, bodies), np.uint32, len(bodies)) == CRC_RESIDUE)


def _samples(
    bodies: list[bytes],
    chosen: NDArray[np.bool_],
    start: NDArray[np.int64],
    size: NDArray[np.int64],
    offset: NDArray[np.int64],
    joined: bytes,
) -> Blocks:
    """The blocks of the chosen bodies; `joined` is all, each of `size` from its `start`, CRC_RESET behind."""
    size = size[chosen]
    if not len(size):
        return _EMPTY
    rows = None
    if _even(size):
        data = joined if len(size) == len(bodies) else _stretches(joined, chosen, start)
        rows = np.frombuffer(data, _layout(int(size[0]) + len(CRC_RESET), data[_COUNT_AT]))
    if rows is None or not _even(rows["count"]):
        picked = list(compress(bodies, chosen.tolist()))
        rows = np.frombuffer(b"".join([body[:_HEAD] for body in picked]), _layout(_HEAD, 0))
        data = b"".join([body[_HEAD : _HEAD + 12 * body[_COUNT_AT]] for body in picked])
        counts = np.frombuffer(data, "<i2").reshape(-1, 6).astype(np.int16)
    else:
        counts = np.ascontiguousarray(rows["counts"], np.int16).reshape(-1, 6)
    return Blocks(
        offset[chosen],
        np.ascontiguousarray(rows["index"], np.uint32),
        np.ascontiguousarray(rows["ticks"], np.uint32),
        np.ascontiguousarray(rows["count"]),
        np.ascontiguousarray(rows["status"]),
        np.ascontiguousarray(rows["temperature"], np.int16),
        counts,
    )


def _stretches(joined: bytes, chosen: NDArray[np.bool_], start: NDArray[np.int64]) -> bytes:
    """The chosen bodies alone, cut out in as few pieces as they come in; a last stretch not chosen has no end here."""
    edges = np.flatnonzero(chosen[1:] != chosen[:-1]) + 1
    cuts = [0, *start[edges].tolist(), len(joined)]
    first = 0 if chosen[0] else 1
    return b"".join([joined[a:b] for a, b in zip(cuts[first::2], cuts[first + 1 :: 2], strict=False)])


def _even(values: NDArray[np.int64] | NDArray[np.uint8]) -> bool:
    return bool((values == values[0]).all())


def sort_runs(
    runs: list[bytes], lengths: NDArray[np.int64], offset: NDArray[np.int64], run_limit: int, take_samples: bool
) -> Sorted:
    """Sort non-empty runs.

    Args:
        runs: n runs without delimiters.
        lengths: (n,) bytes received of each; more than `runs` holds where an overlong run was let go.
        offset: (n,) where each begins.
        run_limit: a longer run is overlong.
        take_samples: False where SAMPLES do not belong (towards a device): they are then OTHER.
    """
    sort = np.full(len(runs), BAD_CRC, np.int8)
    sort[lengths < RUN_MINIMUM] = TOO_SHORT
    sort[lengths > run_limit] = OVERLONG
    worth = sort == BAD_CRC
    if not worth.all():
        runs = [run if good else b"" for run, good in zip(runs, worth.tolist(), strict=True)]
    bodies = _decode_all(runs)
    size = np.fromiter(map(len, bodies), np.int64, len(bodies))
    sort[worth & (size == 0)] = BAD_COBS
    joined = _spaced(bodies)
    holds = _hold(bodies, joined) & (size >= BODY_MINIMUM)
    sort[holds] = OTHER
    if take_samples and len(bodies):
        view = np.frombuffer(joined, np.uint8)
        room = size + len(CRC_RESET)
        start = np.cumsum(room) - room
        last = len(view) - 1
        is_samples = holds & (view[np.minimum(start, last)] == MessageType.SAMPLES) & (size <= BODY_LIMIT)
        count = view[np.minimum(start + _COUNT_AT, last)].astype(np.int64)
        is_samples &= (size >= _HEAD + 4 + 12 * count) & (count >= 1) & (count <= SAMPLES_PER_BLOCK_LIMIT)
        sort[is_samples] = SAMPLES
        return Sorted(sort, bodies, _samples(bodies, is_samples, start, size, offset, joined))
    return Sorted(sort, bodies, _EMPTY)
