"""Consecutive blocks of one segment as arrays, one entry a block, and their groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.timefit import Points, group_points

__all__ = ["Groups", "Run", "no_run"]

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Run:
    """Consecutive blocks of one segment; arrays have one entry a block."""

    offset: Ints
    order: Ints  # place among all blocks received, from 1
    last: Ints  # sample number of the block's last sample in the segment, losses counted
    ticks: Ints  # unwrapped, since the segment's first block
    count: Ints
    lost: Ints  # samples lost before the block
    scale: Ints  # which description; -1: none, unscaled
    counts: NDArray[np.int16]  # (sum of count, 6)

    def __len__(self) -> int:
        return len(self.last)

    def joined(self, later: Run) -> Run:
        if not len(self):
            return later
        pairs = ((getattr(self, name), getattr(later, name)) for name in self.__dataclass_fields__)
        return Run(*(np.concatenate(pair) for pair in pairs))

    def part(self, rows: slice, samples: slice) -> Run:
        return Run(
            self.offset[rows], self.order[rows], self.last[rows], self.ticks[rows], self.count[rows],
            self.lost[rows], self.scale[rows], self.counts[samples],
        )  # fmt: skip

    def indices(self) -> Ints:
        """The number of every sample."""
        first = int(self.last[0]) - int(self.count[0]) + 1
        if int(self.last[-1]) - first + 1 == len(self.counts):
            return np.arange(first, first + len(self.counts))
        start = np.cumsum(self.count) - self.count
        return np.asarray(np.arange(len(self.counts)) + np.repeat(self.last - self.count + 1 - start, self.count))


def no_run() -> Run:
    none = np.empty(0, dtype=np.int64)
    return Run(none, none, none, none, none, none, none, np.empty((0, 6), dtype=np.int16))


@dataclass(frozen=True)
class Groups:
    """Blocks in groups of about 0.25 s; `ends`: the row after each group."""

    run: Run
    ends: list[int]

    def split(self, first: int) -> tuple[Groups, Groups]:
        """The first so many groups, and the others."""
        row = self.ends[first - 1] if first else 0
        sample = int(self.run.count[:row].sum())
        later = [end - row for end in self.ends[first:]]
        return (
            Groups(self.run.part(slice(0, row), slice(0, sample)), self.ends[:first]),
            Groups(self.run.part(slice(row, None), slice(sample, None)), later),
        )

    def points(self) -> Points:
        ends = np.array(self.ends)
        starts = np.concatenate([[0], ends[:-1]])
        return group_points(self.run.last, self.run.ticks, starts, ends - starts)
