"""Counts over a stream as it passes: samples, losses by their index, rate of the last seconds. Pure."""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np
from quiethand_protocol.items import Blocks

__all__ = ["Tally"]

_RATE_OVER_S: Final = 3.0
_BETWEEN_BLOCKS_S: Final = 0.3  # a longer wait is a stall, and shows in the rate
_HALF: Final = 1 << 31  # a larger step of the index is a restart, not a loss


class Tally:
    """For people who watch the link; the exact account is made when the recording is read."""

    def __init__(self) -> None:
        self.samples = 0
        self.lost = 0
        self.last_s: float | None = None  # when the last sample came
        self._next_index: int | None = None
        self._boot_bits: int | None = None
        self._recent: deque[tuple[float, int]] = deque()  # time, samples so far

    def add(self, blocks: Blocks, now_s: float) -> None:
        index, count = blocks.index.astype(np.int64), blocks.count.astype(np.int64)
        if self._next_index is not None and self._boot_bits == int(blocks.status[0]) >> 6:
            steps = np.append(self._next_index, index[:-1] + count[:-1])
        else:
            steps = np.append(index[0], index[:-1] + count[:-1])
        lost = (index - steps) % (1 << 32)
        self.lost += int(lost[lost < _HALF].sum())
        self._next_index = int(index[-1] + count[-1])
        self._boot_bits = int(blocks.status[-1]) >> 6
        self.count(int(count.sum()), now_s)

    def count(self, samples: int, now_s: float) -> None:
        """Samples that carry no index (text mode)."""
        self.samples += samples
        self.last_s = now_s
        self._recent.append((now_s, self.samples))
        while now_s - self._recent[0][0] > _RATE_OVER_S:
            self._recent.popleft()

    def gap(self) -> None:
        """No loss is counted over what follows."""
        self._next_index = None
        self._recent.clear()

    def rate_hz(self, now_s: float) -> float | None:
        """Samples per second over the last 3 s; None before there was one second of them."""
        while self._recent and now_s - self._recent[0][0] > _RATE_OVER_S:
            self._recent.popleft()
        if len(self._recent) < 2 or now_s - self._recent[0][0] < 1.0:
            return None
        first_s, first_samples = self._recent[0]
        last_s = self._recent[-1][0]
        until_s = last_s if now_s - last_s < _BETWEEN_BLOCKS_S else now_s
        return (self.samples - first_samples) / (until_s - first_s)
