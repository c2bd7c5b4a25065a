"""Blocks as they arrive: which description fits each, and holding those that wait for one."""

from __future__ import annotations

from collections import deque
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from quiethand_protocol import Blocks, Description

from quiethand.motion.facts import Damage, RecordingFacts, keep
from quiethand.motion.segmenting import Arrived

__all__ = ["Arrivals"]

HELD_S: Final = 12.0  # the wire format's: DESCRIPTION comes every 10 s
# Before any description nobody knows the rate. So many samples are over 12 s at any rate up to 80 kHz; 12 MB.
HELD_SAMPLES: Final = 1_000_000
REVISION_BITS: Final = 3  # shift
BOOT_BITS: Final = 6
NOT_YET: Final = -2
NEVER: Final = -1
WRAP: Final = 2**32


class Arrivals:
    """A queue in the order of arrival: what waits for its description holds up what came after it."""

    def __init__(self, facts: RecordingFacts) -> None:
        self._facts = facts
        self._queue: deque[Arrived] = deque()
        self._in_force: tuple[int, Description] | None = None
        self._broken = False
        self._last_ticks = 0
        self._held = False  # something in the queue waits
        self.received = 0  # blocks

    def broken(self) -> None:
        """GAP, or a later HEADER: no description is in force, and the next block opens a segment."""
        self._in_force = None
        self._broken = True

    def blocks(self, blocks: Blocks) -> None:
        k = len(blocks)
        scale = np.full(k, NOT_YET, dtype=np.int64)
        if self._in_force is not None:
            number, description = self._in_force
            scale[_fits(blocks.status, description)] = number
        self._held = self._held or bool((scale == NOT_YET).any())
        self._queue.append(
            Arrived(
                blocks.offset, np.arange(self.received + 1, self.received + k + 1), blocks.index, blocks.ticks,
                blocks.count.astype(np.int64), blocks.status, scale, blocks.counts, self._broken,
            )
        )  # fmt: skip
        self._broken = False
        self.received += k
        self._last_ticks = int(blocks.ticks[-1])
        if self._held:
            self._bound()

    def describe(self, number: int, description: Description) -> None:
        """A description comes into force: what fits it and is not too old is settled."""
        self._in_force = (number, description)
        if not self._held:
            return
        for arrived in self._queue:
            waits = arrived.scale == NOT_YET
            if waits.any():
                age = (self._last_ticks - arrived.ticks.astype(np.int64) + WRAP // 2) % WRAP - WRAP // 2
                old = waits & (age > HELD_S * description.tick_hz)
                arrived.scale[waits & ~old & _fits(arrived.status, description)] = number
                self._give_up(arrived, old)
        self._held = any((arrived.scale == NOT_YET).any() for arrived in self._queue)

    def settled(self, to_end: bool = False) -> list[Arrived]:
        """Blocks from the head of the queue whose description is known or never will be."""
        out = []
        while self._queue:
            head = self._queue[0]
            waits = head.scale == NOT_YET
            if to_end and waits.any():
                self._give_up(head, waits)
            elif waits.any():
                first = int(waits.argmax())
                if first:
                    out.append(head.part(0, first))
                    self._queue[0] = head.part(first, len(head))
                break
            out.append(self._queue.popleft())
        return _merged(out)

    def _give_up(self, arrived: Arrived, rows: NDArray[np.bool_]) -> None:
        if not rows.any():
            return
        arrived.scale[rows] = NEVER
        samples = int(arrived.count[rows].sum())
        self._facts.unscaled += samples
        self._facts.unscaled_blocks += int(rows.sum())
        at = int(arrived.offset[rows][0])
        places = self._facts.unscaled_places
        why = "no DESCRIPTION fits these samples"
        if places and places[-1].offset + places[-1].length >= at:
            places[-1] = Damage("unscaled", places[-1].offset, at - places[-1].offset, places[-1].count + samples, why)
        else:
            keep(places, Damage("unscaled", at, int(arrived.offset[rows][-1]) - at, samples, why))

    def _bound(self) -> None:
        """The oldest are given up once too many wait: by block, so that chunking does not matter."""
        later = 0
        for arrived in reversed(self._queue):
            total = len(arrived.counts)
            if later + total > HELD_SAMPLES:
                behind = later + total - np.cumsum(arrived.count)  # samples after each block
                self._give_up(arrived, (arrived.scale == NOT_YET) & (behind >= HELD_SAMPLES))
            later += total


def _fits(
    status: np.ndarray[tuple[int], np.dtype[np.uint8]], description: Description
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    bits = (description.revision & 7) << REVISION_BITS | (description.boot & 3) << BOOT_BITS
    return np.asarray((status & 0xF8) == bits)


def _merged(parts: list[Arrived]) -> list[Arrived]:
    """Neighbours with no break between as one, so that work is done on many blocks at once."""
    runs: list[list[Arrived]] = []
    for part in parts:
        if runs and not part.broken:
            runs[-1].append(part)
        else:
            runs.append([part])
    return [run[0] if len(run) == 1 else _joined(run) for run in runs]


def _joined(run: list[Arrived]) -> Arrived:
    def all_of(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in run])

    return Arrived(
        all_of("offset"), all_of("order"), all_of("index"), all_of("ticks"), all_of("count"), all_of("status"),
        all_of("scale"), all_of("counts"), run[0].broken,
    )  # fmt: skip
