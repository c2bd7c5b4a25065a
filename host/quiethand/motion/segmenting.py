"""Which segment each block belongs to: the wire format's tests in their order, losses, and counters that wrap."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.facts import Loss, RecordingFacts, keep, keep_mark
from quiethand.motion.segments import Group, Heard, Identity, Run, Segment, opened

__all__ = ["Arrived", "Segmenter"]

Ints = NDArray[np.int64]

WRAP: Final = 2**32
BOOT_BITS: Final = 6  # shift
FIRST_SINCE_POWER_UP: Final = 4
IDENTITIES_KEPT: Final = 4096
OFF_BY_S: Final = 0.050  # the wire format's: a block this far from where it should be opens a segment
OFF_BY_STEP: Final = 0.10  # and so much of the step more, while the rate is only the nominal one
# A block is looked at by itself where a rate that is a little off could decide: half of the tolerance is the margin.
NEAR_S: Final = 0.025
LONG_STEP_S: Final = 5.0
LONG_STEP_UNFITTED_S: Final = 0.25


@dataclass(frozen=True)
class Arrived:
    """Blocks as received, one entry a block; `broken`: the link or the file was broken before the first of them."""

    offset: Ints
    order: Ints  # place among all blocks received, from 1
    index: NDArray[np.uint32]
    ticks: NDArray[np.uint32]
    count: Ints
    status: NDArray[np.uint8]
    scale: Ints  # description that fits; -1 none ever will, -2 not yet
    counts: NDArray[np.int16]
    broken: bool = False

    def __len__(self) -> int:
        return len(self.order)

    def part(self, first: int, last: int) -> Arrived:
        sample = np.concatenate([[0], np.cumsum(self.count)])
        return Arrived(
            self.offset[first:last], self.order[first:last], self.index[first:last], self.ticks[first:last],
            self.count[first:last], self.status[first:last], self.scale[first:last],
            self.counts[int(sample[first]) : int(sample[last])], self.broken and first == 0,
        )  # fmt: skip


class Segmenter:
    """Takes blocks whose description is settled, in order, and gives groups with their segments."""

    def __init__(self, facts: RecordingFacts) -> None:
        self._facts = facts
        self._identities: dict[int, Identity] = {}
        self._segment: Segment | None = None
        self._timed: Segment | None = None  # the last segment with a time line
        self._heard: deque[tuple[int, int, Heard]] = deque(maxlen=10_000)  # order, raw ticks
        self._end = self._ticks = self._boot = self._order = 0  # of the last block
        self._out: list[tuple[Segment, Group]] = []
        self._closed: list[Segment] = []

    def know(self, scale: int, identity: Identity) -> None:
        """Samples that refer to this number are of this sensor, boot, clock and rate."""
        self._identities[scale] = identity
        if len(self._identities) > IDENTITIES_KEPT:
            del self._identities[next(iter(self._identities))]

    def hear(self, order: int, raw_ticks: int, said: Heard) -> None:
        """A CLOCK or mark that came after block `order`."""
        self._heard.append((order, raw_ticks, said))

    def push(self, blocks: Arrived) -> list[tuple[Segment, Group]]:
        """The next blocks."""
        self._hear_up_to(self._order)
        count = blocks.count
        ends = blocks.index.astype(np.int64) + count
        lost = (blocks.index.astype(np.int64) - np.concatenate([[self._end], ends[:-1]])) % WRAP
        raw = blocks.ticks.astype(np.int64)
        elapsed = np.diff(raw, prepend=self._ticks) % WRAP
        boot = blocks.status >> BOOT_BITS
        restart = (np.diff(boot.astype(np.int16), prepend=self._boot) != 0) | (
            (blocks.status & FIRST_SINCE_POWER_UP) != 0
        )
        back = lost >= WRAP // 2
        flagged = restart | back | self._other_identity(blocks.scale)
        flagged[0] |= blocks.broken or self._segment is None
        starts = sorted({0, *np.flatnonzero(flagged).tolist()})
        for first, last in zip(starts, [*starts[1:], len(blocks)], strict=True):
            why = self._why(blocks, first, bool(restart[first]), bool(back[first])) if flagged[first] else None
            self._take(blocks.part(first, last), lost[first:last], elapsed[first:last], why)
        self._end, self._ticks, self._boot = int(ends[-1]) % WRAP, int(raw[-1]), int(boot[-1])
        out, self._out = self._out, []
        return out

    def finish(self) -> list[tuple[Segment, Group]]:
        self._hear_up_to(self._order)
        self._close()
        out, self._out = self._out, []
        return out

    def closed(self) -> list[Segment]:
        """Segments that ended since the last call."""
        closed, self._closed = self._closed, []
        return closed

    @property
    def current(self) -> Segment | None:
        return self._segment

    def _other_identity(self, scale: Ints) -> NDArray[np.bool_]:
        """Blocks whose description is not of the same sensor, boot, clock and rate as that of the one before."""
        flagged = np.zeros(len(scale), dtype=bool)
        known = self._segment.identity if self._segment else None
        for first in [0, *(np.flatnonzero(scale[1:] != scale[:-1]) + 1).tolist()]:
            identity = self._identities.get(int(scale[first]))
            if identity is not None and identity != known:
                flagged[first] = True
                known = identity
        return flagged

    def _why(self, blocks: Arrived, row: int, restart: bool, back: bool) -> str | None:
        """Why a flagged block opens a segment, by the first test that holds; None: it does not."""
        segment = self._segment
        if segment is None:
            return "first"
        identity, known = self._identities.get(int(blocks.scale[row])), segment.identity
        if identity is not None and known is not None and identity != known:
            if identity.uid != known.uid:
                return "uid"
            return "boot" if identity.boot != known.boot else "rate"
        if restart:
            return "restart"
        if row == 0 and blocks.broken:
            return "gap"
        return "index" if back else None

    def _take(self, blocks: Arrived, lost: Ints, elapsed: Ints, why: str | None) -> None:
        """Blocks that the first four tests leave in one segment; the fifth may still cut them."""
        while True:
            if why is not None:
                self._open(why, int(blocks.offset[0]))
                lost, elapsed = lost.copy(), elapsed.copy()
                lost[0] = elapsed[0] = 0
            segment = self._segment
            assert segment is not None
            identity = self._identities.get(int(blocks.scale[0]))
            if segment.identity is None and identity is not None:
                segment.adopt(identity, segment.ticks + int(elapsed[0]))
            if segment.identity is None:
                self._extend(blocks, lost, elapsed)
                return
            step = lost + blocks.count
            expected = step * segment.period_ticks
            ticks = elapsed + WRAP * np.rint((expected - elapsed) / WRAP).astype(np.int64)
            near = np.abs(ticks - expected) > NEAR_S * segment.tick_hz
            near |= step > (LONG_STEP_S if segment.fitted else LONG_STEP_UNFITTED_S) * segment.rate_nominal
            if why is not None:
                ticks[0], near[0] = 0, False
            done, jump = 0, None
            for row in np.flatnonzero(near).tolist():
                self._extend(blocks.part(done, row), lost[done:row], ticks[done:row])
                done = row
                if self._jumps(int(step[row]), int(elapsed[row])):
                    jump = row
                    break
            if jump is None:
                self._extend(blocks.part(done, len(blocks)), lost[done:], ticks[done:])
                return
            blocks, lost, elapsed, why = blocks.part(jump, len(blocks)), lost[jump:], elapsed[jump:], "jump"

    def _jumps(self, step: int, elapsed: int) -> bool:
        """The fifth test: over 50 ms from where the block should be."""
        segment = self._segment
        assert segment is not None
        expected = step * (segment.period_ticks if segment.fitted else segment.period_nominal)
        off = abs((elapsed - expected + WRAP / 2) % WRAP - WRAP / 2)
        return off > OFF_BY_S * segment.tick_hz + (0.0 if segment.fitted else OFF_BY_STEP * expected)

    def _extend(self, blocks: Arrived, lost: Ints, ticks: Ints) -> None:
        """Blocks for certain in the segment; `ticks` since the block before each, unwrapped."""
        if not len(blocks):
            return
        segment = self._segment
        assert segment is not None
        run = Run(
            blocks.offset,
            blocks.order,
            segment.last + np.cumsum(lost + blocks.count),
            segment.ticks + np.cumsum(ticks),
            blocks.count,
            lost,
            blocks.scale,
            blocks.counts,
        )
        self._facts.lost_samples = (self._facts.lost_samples or 0) + int(lost.sum())
        if segment.identity is None:
            for row in np.flatnonzero(lost).tolist():
                self._facts.loss_places += 1
                keep(self._facts.losses, Loss(None, segment.number, int(lost[row]), int(blocks.offset[row])))
        raw = blocks.ticks
        while self._heard and self._heard[0][0] <= int(blocks.order[-1]):
            order, heard_raw, said = self._heard.popleft()
            row = max(int(np.searchsorted(blocks.order, order, side="right")) - 1, 0)
            segment.hear(order, int(run.ticks[row]), _ahead(heard_raw, int(raw[row])), said)
        self._order, self._ticks = int(blocks.order[-1]), int(raw[-1])
        self._out += [(segment, group) for group in segment.push(run)]

    def _hear_up_to(self, order: int) -> None:
        """What came after the last block pushed, and before the next."""
        while self._heard and self._heard[0][0] <= order:
            of, raw, said = self._heard.popleft()
            if self._segment is not None:
                self._segment.hear(of, self._segment.ticks, _ahead(raw, self._ticks), said)
            elif not isinstance(said, int):
                keep_mark(self._facts, said)

    def _open(self, why: str, offset: int) -> None:
        self._close()
        self._segment = opened(self._facts.segments, why, offset, self._timed)
        self._facts.segments += 1

    def _close(self) -> None:
        segment = self._segment
        if segment is None:
            return
        self._out += [(segment, group) for group in segment.close()]
        if segment.identity is not None:
            self._timed = segment
        self._closed.append(segment)
        self._segment = None


def _ahead(raw: int, of: int) -> int:
    """The nearest of what two counters modulo 2^32 may be apart."""
    return (raw - of + WRAP // 2) % WRAP - WRAP // 2
