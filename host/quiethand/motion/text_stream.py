"""Text mode: lines with their units to samples with their times; lines before the first units wait for them."""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray
from quiethand_protocol.items import TextBlock, TextUnits

from quiethand.bow.model import SensorSetup
from quiethand.motion.calibration import Scales
from quiethand.motion.facts import Damage, RecordingFacts, keep
from quiethand.motion.segments import Heard
from quiethand.motion.timed import Rows, TimedGroup, TimedSegment

__all__ = ["TextSegmenter", "scales_of"]

HELD_S: Final = 12.0  # the wire format's: unit comments come every 10 s
STANDARD_GRAVITY: Final = 9.80665
WRAP: Final = 2**32
NEVER: Final = -1


def scales_of(units: TextUnits, sensor: SensorSetup) -> Scales | None:
    """What one number is, from the stream's comments and the set-up; None while something is missing.

    A scale in the set-up wins over the stream's, and without a unit comment says that the numbers are counts.
    """
    accel = units.accel or ("counts" if sensor.accel_scale is not None else None)
    gyro = units.gyro or ("counts" if sensor.gyro_scale is not None else None)
    accel_scale, gyro_scale = sensor.accel_scale or units.accel_scale, sensor.gyro_scale or units.gyro_scale
    if accel is None or gyro is None:
        return None
    if (accel == "counts" and accel_scale is None) or (gyro == "counts" and gyro_scale is None):
        return None
    return Scales(
        accel_m_s2=accel_scale if accel == "counts" else None,
        gyro_rad_s=gyro_scale if gyro == "counts" else None,
        accel_unit_m_s2=STANDARD_GRAVITY if accel == "g" else 1.0,
        gyro_unit_rad_s=np.pi / 180.0 if gyro == "deg/s" else 1.0,
    )


class TextSegmenter:
    """Takes blocks of lines and gives groups with their segments."""

    def __init__(self, facts: RecordingFacts) -> None:
        self._facts = facts
        self._held: deque[tuple[TextBlock, NDArray[np.int64], NDArray[np.int64]]] = deque()
        self._clock_us = 0  # of the last line, all steps added up
        self._received = 0
        self._segment: TimedSegment | None = None
        self._before: TimedSegment | None = None
        self._heard: deque[tuple[int, int, Heard]] = deque(maxlen=10_000)
        self._last_order = 0
        self._last_raw = 0
        self._since_us = 0  # of the last line pushed, since its segment's first
        self._out: list[tuple[TimedSegment, TimedGroup]] = []
        self._closed: list[TimedSegment] = []

    @property
    def received(self) -> int:
        """Lines."""
        return self._received

    @property
    def current(self) -> TimedSegment | None:
        return self._segment

    def closed(self) -> list[TimedSegment]:
        """Segments that ended since the last call."""
        closed, self._closed = self._closed, []
        return closed

    def hear(self, order: int, raw_us: int, said: Heard) -> None:
        """A CLOCK or mark that came after line `order`."""
        self._heard.append((order, raw_us, said))

    def push(self, block: TextBlock, scale: int | None) -> list[tuple[TimedSegment, TimedGroup]]:
        """The next lines; `scale` None: their units are not known yet."""
        order = np.arange(self._received + 1, self._received + len(block) + 1)
        self._received += len(block)
        clock = self._clock_us + np.cumsum(block.step_us)
        self._clock_us = int(clock[-1])
        if scale is None:
            self._held.append((block, order, clock))
            while self._held and self._clock_us - int(self._held[0][2][-1]) > HELD_S * 1e6:
                old, its_order, _ = self._held.popleft()
                self._give_up(old)
                self._take(old, its_order, np.full(len(old), NEVER, dtype=np.int64))
            return self._taken()
        self._release_held(scale, int(clock[0]))
        self._take(block, order, np.full(len(block), scale, dtype=np.int64))
        return self._taken()

    def finish(self) -> list[tuple[TimedSegment, TimedGroup]]:
        while self._held:
            block, order, _ = self._held.popleft()
            self._give_up(block)
            self._take(block, order, np.full(len(block), NEVER, dtype=np.int64))
        self._hear_up_to(self._received)
        self._close()
        return self._taken()

    def _taken(self) -> list[tuple[TimedSegment, TimedGroup]]:
        out, self._out = self._out, []
        return out

    def _release_held(self, scale: int, now_us: int) -> None:
        """Units came: what was held is theirs, but for what is over 12 s before the last line received."""
        last_us = int(self._held[-1][2][-1]) if self._held else now_us
        while self._held:
            block, order, clock = self._held.popleft()
            old = clock < last_us - HELD_S * 1e6
            if old.any():
                self._give_up(block, int(old.sum()))
            self._take(block, order, np.where(old, NEVER, scale))

    def _give_up(self, block: TextBlock, lines: int | None = None) -> None:
        lines = len(block) if lines is None else lines
        self._facts.unscaled += lines
        self._facts.unscaled_blocks += lines
        first, last = int(block.offset[0]), int(block.offset[lines - 1])
        keep(self._facts.unscaled_places, Damage("unscaled", first, last - first, lines, "no units for these lines"))

    def _take(self, block: TextBlock, order: NDArray[np.int64], scale: NDArray[np.int64]) -> None:
        starts = sorted({0, *np.flatnonzero(block.opens_segment).tolist()})
        for first, last in zip(starts, [*starts[1:], len(block)], strict=True):
            self._hear_up_to(int(order[first]) - 1)
            if block.opens_segment[first] or self._segment is None:
                self._open(int(block.offset[first]))
            segment = self._segment
            assert segment is not None
            since_us = self._since_us + np.cumsum(block.step_us[first:last])
            raw = block.t_us[first:last]
            while self._heard and self._heard[0][0] <= int(order[last - 1]):
                of, raw_us, said = self._heard.popleft()
                row = of - int(order[first])
                segment.hear(of, (int(since_us[row]) + _ahead(raw_us, int(raw[row]))) * 1e-6, said)
            self._since_us, self._last_raw = int(since_us[-1]), int(raw[-1])
            rows = Rows(
                block.offset[first:last], order[first:last], since_us * np.float64(1e-6), block.values[first:last],
                scale[first:last],
            )  # fmt: skip
            self._out += [(segment, group) for group in segment.push(rows)]

    def _hear_up_to(self, order: int) -> None:
        while self._heard and self._heard[0][0] <= order:
            of, raw_us, said = self._heard.popleft()
            if self._segment is not None:
                self._segment.hear(of, (self._since_us + _ahead(raw_us, self._last_raw)) * 1e-6, said)
            elif not isinstance(said, int):
                keep(self._facts.marks, said)

    def _open(self, offset: int) -> None:
        why = "first" if self._segment is None else "restart"
        self._close()
        self._segment = TimedSegment(self._facts.segments, why, offset, self._before)
        self._facts.segments += 1
        self._since_us = 0

    def _close(self) -> None:
        if self._segment is not None:
            segment = self._segment
            self._out += [(segment, group) for group in segment.close()]
            self._before = segment
            self._closed.append(segment)
            self._segment = None


def _ahead(raw: int, of: int) -> int:
    return (raw - of + WRAP // 2) % WRAP - WRAP // 2
