"""The blocks of a stretch of a check as arrays: index and clock from block to block, loss, rate, how the host's clock
saw them. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from quiethand_protocol.items import Blocks, Located, Trouble
from quiethand_protocol.messages import Description, Health, Status

from quiethand.link.check_talk import Arrival

__all__ = [
    "BlockTable",
    "Steps",
    "clock_error",
    "edge_error",
    "healths",
    "last_description",
    "messages",
    "steps",
    "table",
    "troubles",
]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
_HALF: Final = 1 << 31


@dataclass(frozen=True)
class BlockTable:
    """k blocks with m samples, in the order in which they came."""

    at_s: Floats  # (k,) arrival by the host's clock
    last_of_read: NDArray[np.bool_]  # (k,) no other block came with the same read after it
    index: Ints  # (k,)
    ticks: Ints  # (k,) as sent, modulo 2^32
    count: Ints  # (k,)
    status: Ints  # (k,)
    counts: NDArray[np.int16]  # (m, 6)

    def __len__(self) -> int:
        return len(self.index)

    @property
    def samples(self) -> int:
        return int(self.count.sum())


def table(arrivals: Sequence[Arrival]) -> BlockTable:
    """The blocks among what came."""
    found = [(a.at_s, a.item) for a in arrivals if isinstance(a.item, Blocks)]

    def joined(name: str) -> Ints:
        parts = [getattr(blocks, name).astype(np.int64) for _, blocks in found]
        return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)

    sizes = [len(blocks) for _, blocks in found]
    last = np.zeros(sum(sizes), dtype=np.bool_)
    if found:
        last[np.cumsum(sizes) - 1] = True
    counts = [blocks.counts for _, blocks in found]
    return BlockTable(
        np.repeat([at for at, _ in found], sizes).astype(np.float64),
        last,
        joined("index"),
        joined("ticks"),
        joined("count"),
        joined("status"),
        np.concatenate(counts) if counts else np.empty((0, 6), dtype=np.int16),
    )


def messages(arrivals: Sequence[Arrival]) -> list[tuple[float, object]]:
    """All messages that are not SAMPLES, with their times."""
    return [(a.at_s, a.item.message) for a in arrivals if isinstance(a.item, Located)]


def troubles(arrivals: Sequence[Arrival], *kinds: str) -> int:
    """Runs that gave no message, of these kinds."""
    return sum(a.item.count for a in arrivals if isinstance(a.item, Trouble) and a.item.kind in kinds)


@dataclass(frozen=True)
class Steps:
    """From each block to the next, k - 1 of each."""

    missing: Ints  # samples between them by index, signed; 0: none
    ticks: Ints  # from last sample to last sample, signed
    marked: NDArray[np.bool_]  # the later one says that samples were lost before it
    whole: NDArray[np.bool_]  # nothing missing, and the clock went as far as the samples say
    jumps: NDArray[np.bool_]  # the clock went another way than the samples, by half a block and more
    ticks_per_sample: float  # over the steps that are whole; nan where there are too few

    @property
    def gaps(self) -> NDArray[np.bool_]:
        return self.missing > 0


def steps(blocks: BlockTable) -> Steps:
    """How index and clock went on."""

    def signed(values: Ints) -> Ints:
        return (values + _HALF) % (1 << 32) - _HALF

    missing = signed(blocks.index[1:] - blocks.index[:-1] - blocks.count[:-1])
    ticks = signed(np.diff(blocks.ticks))
    marked = (blocks.status[1:] & Status.LOST_BEFORE) != 0
    taken = missing + blocks.count[1:]
    contiguous = missing == 0
    if not contiguous.any():
        none = np.zeros(len(missing), dtype=np.bool_)
        return Steps(missing, ticks, marked, none, none, float("nan"))
    usual = float(np.median(ticks[contiguous] / taken[contiguous]))
    off = np.abs(ticks - taken * usual) > 0.6 * usual * np.maximum(blocks.count[1:], 8)
    whole = contiguous & ~off
    per_sample = float(ticks[whole].sum() / taken[whole].sum()) if whole.sum() >= 3 else float("nan")
    return Steps(missing, ticks, marked, whole, off & (missing >= 0), per_sample)


def clock_error(blocks: BlockTable, tick_hz: int) -> tuple[float, float] | None:
    """How much faster the device's clock runs than the host's, and how well that is known: both in parts per million.

    A block can be seen late but never early, so the earliest of the first and of the last third tell the clock. None
    under 3 s, or where the clock jumps.
    """
    if len(blocks) < 30:
        return None
    turns = np.concatenate([[0], np.cumsum(((np.diff(blocks.ticks) + _HALF) % (1 << 32)) - _HALF)])
    return edge_error(turns[blocks.last_of_read] / tick_hz, blocks.at_s[blocks.last_of_read])


def edge_error(device_s: Floats, at_s: Floats) -> tuple[float, float] | None:
    """`clock_error` from instants by the device's clock, (k,), and when the host saw them, (k,)."""
    late = at_s - at_s[0] - (device_s - device_s[0])
    span = float(device_s[-1] - device_s[0])
    if span < 3.0 or not np.all(np.diff(device_s) > 0):
        return None
    early, last = device_s < device_s[0] + span / 3, device_s > device_s[-1] - span / 3
    at = [device_s[part][np.argmin(late[part])] for part in (early, last)]
    lowest = [float(late[part].min()) for part in (early, last)]
    apart = float(at[1] - at[0])
    if apart < 1.0:
        return None
    # How far the earliest stand apart from the next: another run of the same line would find them so far elsewhere.
    spread = sum(float(np.quantile(late[part], 0.1)) - low for part, low in zip((early, last), lowest, strict=True))
    slope = (lowest[1] - lowest[0]) / apart
    return -slope / (1 + slope) * 1e6, max(spread, 2e-4) / apart * 1e6


def last_description(arrivals: Sequence[Arrival]) -> Description | None:
    said = [message for _, message in messages(arrivals) if isinstance(message, Description)]
    return said[-1] if said else None


def healths(arrivals: Sequence[Arrival]) -> list[tuple[float, Health]]:
    return [(at, message) for at, message in messages(arrivals) if isinstance(message, Health)]
