"""The health of a link while it runs: rate, lateness of blocks, loss, bytes, supply, gravity and noise at rest.

Pure: bytes and the times when they came go in, a snapshot comes out at any moment. Memory is bounded.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from quiethand_protocol.detect import KEPT_LIMIT, ModeDetector
from quiethand_protocol.items import Blocks, Item, Located, TextBlock, TextItem
from quiethand_protocol.messages import UNKNOWN_TEMPERATURE, Description, Health, Status
from quiethand_protocol.parser import Parser
from quiethand_protocol.text import TextParser

from quiethand.link.health_rest import Rest, RestFigures
from quiethand.link.tally import Tally

__all__ = ["LinkHealth", "LinkWatch"]

_RECENT: Final = 20_000  # blocks whose lateness is kept: 3 min at 100 blocks a second
_EDGE_S: Final = 5.0  # the earliest block of so long is on time; a clock that is off by 100 ppm shifts it by 0.5 ms
_BYTES_OVER_S: Final = 3.0
_HALF: Final = 1 << 31
_G: Final = 9.80665


@dataclass(frozen=True)
class LinkHealth:
    """How a link does. None is not known (yet)."""

    seconds: float  # since the first sample
    mode: Literal["binary", "text"] | None
    sensor: str
    uid: str
    samples: int
    rate_hz: float | None  # over the last 3 s, by the host's clock
    nominal_rate_hz: float | None
    lost_samples: int | None  # by index; None in text mode, where nobody counts
    lost_in_device: int | None  # of those, marked so by the device
    loss_places: int
    bad_frames: int  # malformed ones and, in text mode, bad lines included
    blocks: int
    block_interval_ms: float | None  # by the device's clock
    late_ms_median: float | None  # of a block, against the earliest of 5 s
    late_ms_95: float | None
    late_ms_max: float | None
    bytes_per_s: float | None
    line_bytes_per_s: float | None  # what the line can carry
    temperature_c: float | None
    supply_mv: int | None
    supply_low: bool
    restarts: int
    rest: RestFigures = field(default_factory=RestFigures)

    @property
    def line_share(self) -> float | None:
        """Of what the line can carry."""
        if self.bytes_per_s is None or self.line_bytes_per_s is None:
            return None
        return self.bytes_per_s / self.line_bytes_per_s


class LinkWatch:
    """Takes what a device sends.

    Args:
        baud: of a serial line with start and stop bit; None where the line's speed is not known.
    """

    def __init__(self, baud: int | None = None) -> None:
        self.description: Description | None = None
        self._line = None if baud is None else baud / 10
        self._parser, self._text, self._detector = Parser("device"), TextParser(), ModeDetector()
        self._undecided = bytearray()
        self._mode: Literal["binary", "text"] | None = None
        self._tally = Tally()
        self._first_s: float | None = None
        self._now_s = 0.0
        self._lost_in_device = self._loss_places = self._blocks = self._restarts = 0
        self._next_index: int | None = None
        self._device_s = 0.0
        self._last_ticks: int | None = None
        self._intervals: deque[float] = deque(maxlen=_RECENT)
        self._late: deque[float] = deque(maxlen=_RECENT)
        self._edge: deque[tuple[float, float]] = deque()  # (time, lateness) rising, the least of 5 s first
        self._bytes: deque[tuple[float, int]] = deque()
        self._total_bytes = 0
        self._temperature_c: float | None = None
        self._supply_mv: int | None = None
        self._supply_low = False
        self._rest: Rest | None = None

    def take(self, data: bytes, now_s: float) -> list[Item]:
        """Bytes that had come at `now_s`; the items of them, for whoever talks to the device."""
        self._now_s = now_s
        self._count_bytes(len(data), now_s)
        if self._mode is None:
            self._undecided += data
            self._mode = self._detector.feed(data) if data else None
            if self._mode is None and len(self._undecided) <= KEPT_LIMIT:
                return []
            data = bytes(self._undecided)
            self._undecided.clear()
        if self._mode == "text":
            self._lines(self._text.feed(data), now_s)
            return []
        items = self._parser.feed(data)
        for item in items:
            if isinstance(item, Blocks):
                self._hear_blocks(item, now_s)
            elif isinstance(item, Located) and isinstance(item.message, Description):
                self._describe(item.message)
            elif isinstance(item, Located) and isinstance(item.message, Health):
                self._supply_mv = item.message.supply_mv or None
        return items

    @property
    def mode(self) -> Literal["binary", "text"] | None:
        return self._mode

    def health(self) -> LinkHealth:
        """The state of things at the last `take`."""
        text = self._mode == "text"
        late = np.array(self._late) * 1e3
        described = self.description
        rates = self._tally.rate_hz(self._now_s)
        bad = self._text.bad_lines if text else self._parser.bad_frames + self._parser.malformed
        return LinkHealth(
            seconds=0.0 if self._first_s is None else self._now_s - self._first_s,
            mode=self._mode,
            sensor=described.sensor if described else "",
            uid=described.uid.hex() if described else "",
            samples=self._tally.samples,
            rate_hz=rates,
            nominal_rate_hz=described.rate_mhz / 1000 if described else None,
            lost_samples=None if text else self._tally.lost,
            lost_in_device=None if text else self._lost_in_device,
            loss_places=self._loss_places,
            bad_frames=bad,
            blocks=self._blocks,
            block_interval_ms=float(np.median(self._intervals)) * 1e3 if self._intervals else None,
            late_ms_median=float(np.median(late)) if len(late) else None,
            late_ms_95=float(np.quantile(late, 0.95)) if len(late) else None,
            late_ms_max=float(late.max()) if len(late) else None,
            bytes_per_s=self._bytes_per_s(),
            line_bytes_per_s=self._line,
            temperature_c=self._temperature_c,
            supply_mv=self._supply_mv,
            supply_low=self._supply_low,
            restarts=self._restarts,
            rest=self._rest.figures() if self._rest else RestFigures(),
        )

    def _describe(self, said: Description) -> None:
        before, self.description = self.description, said
        if before is not None and (before.uid, before.boot) != (said.uid, said.boot):
            self._restarts += 1
            self._next_index = self._last_ticks = None
            self._edge.clear()
        same = before is not None and (before.rate_mhz, before.accel_scale, before.gyro_scale) == (
            said.rate_mhz,
            said.accel_scale,
            said.gyro_scale,
        )
        if not same:  # noise of two settings is not one figure
            bands = said.gyro_bandwidth_hz or None, said.accel_bandwidth_hz or None
            self._rest = Rest(said.rate_mhz / 1000, *bands)

    def _hear_blocks(self, blocks: Blocks, now_s: float) -> None:
        if self._first_s is None:
            self._first_s = now_s
        self._tally.add(blocks, now_s)
        self._blocks += len(blocks)
        self._supply_low = self._supply_low or bool((blocks.status & Status.SUPPLY_LOW).any())
        if blocks.temperature[-1] != UNKNOWN_TEMPERATURE:
            self._temperature_c = int(blocks.temperature[-1]) / 100
        missing = self._losses(blocks)
        if self.description is not None:
            self._lateness(blocks, now_s, self.description.tick_hz)
            self._at_rest(blocks, missing, self.description)

    def _losses(self, blocks: Blocks) -> NDArray[np.int64]:
        index, count = blocks.index.astype(np.int64), blocks.count.astype(np.int64)
        first = index[0] if self._next_index is None else self._next_index
        missing: NDArray[np.int64] = (index - np.append(first, index[:-1] + count[:-1]) + _HALF) % (1 << 32) - _HALF
        self._next_index = int(index[-1] + count[-1])
        lost = missing > 0
        self._loss_places += int(lost.sum())
        self._lost_in_device += int(missing[lost & ((blocks.status & Status.LOST_BEFORE) != 0)].sum())
        return missing

    def _lateness(self, blocks: Blocks, now_s: float, tick_hz: int) -> None:
        ticks = blocks.ticks.astype(np.int64)
        before = ticks[0] if self._last_ticks is None else self._last_ticks
        steps = ((np.diff(ticks, prepend=before) + _HALF) % (1 << 32) - _HALF) / tick_hz
        self._intervals += steps[1 if self._last_ticks is None else 0 :].tolist()
        self._last_ticks = int(ticks[-1])
        self._device_s += float(steps.sum())
        late = now_s - self._device_s  # of the last block of this read; the others had to wait for it
        while self._edge and self._edge[-1][1] >= late:
            self._edge.pop()
        self._edge.append((now_s, late))
        while now_s - self._edge[0][0] > _EDGE_S:
            self._edge.popleft()
        self._late.append(late - self._edge[0][1])

    def _at_rest(self, blocks: Blocks, missing: NDArray[np.int64], said: Description) -> None:
        fits = bool(np.all((blocks.status >> 3 & 7) == (said.revision & 7)))
        if self._rest is None or not fits or missing.any():
            if self._rest is not None:
                self._rest.interrupted()
            return
        scale = np.array([said.accel_scale] * 3 + [said.gyro_scale] * 3)
        self._rest.add(blocks.counts * scale)

    def _lines(self, items: list[TextItem], now_s: float) -> None:
        for item in items:
            if not isinstance(item, TextBlock):
                continue
            if self._first_s is None:
                self._first_s = now_s
            self._tally.count(len(item), now_s)
            period_us = float(np.median(item.step_us)) if len(item) > 1 else 0.0
            if period_us > 0:
                self._loss_places += int((item.step_us > 1.5 * period_us).sum())
            self._text_at_rest(item)

    def _text_at_rest(self, item: TextBlock) -> None:
        accel = {"m/s2": 1.0, "g": _G, "counts": item.units.accel_scale, None: None}[item.units.accel]
        gyro = {"rad/s": 1.0, "deg/s": np.pi / 180, "counts": item.units.gyro_scale, None: None}[item.units.gyro]
        if accel is None or gyro is None:
            return
        if self._rest is None:
            rate = self._tally.rate_hz(self._now_s)
            if rate is None:
                return
            self._rest = Rest(rate, None, None)
        self._rest.add(item.values * np.array([accel] * 3 + [gyro] * 3))

    def _count_bytes(self, count: int, now_s: float) -> None:
        if count:
            self._total_bytes += count
            self._bytes.append((now_s, self._total_bytes))
        while self._bytes and now_s - self._bytes[0][0] > _BYTES_OVER_S:
            self._bytes.popleft()

    def _bytes_per_s(self) -> float | None:
        if len(self._bytes) < 2 or self._bytes[-1][0] - self._bytes[0][0] < 0.5:
            return None
        (first_s, first), (last_s, last) = self._bytes[0], self._bytes[-1]
        return (last - first) / (last_s - first_s)
