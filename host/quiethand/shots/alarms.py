"""Which cells are worth a close look: those that leap out of what was before, gathered into events."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.cells import CellTable
from quiethand.shots.knock import G0

__all__ = ["AlarmWatch", "Event", "contrast"]

JOLT_M_S2 = 0.45 * G0  # peak-to-peak within 5 ms: the lightest knock worth a line; any push of a shot has more
_CONTRAST = 4.0  # times the median of the fifth of a second before: shaking and machines stay under it
_BEFORE_CELLS = 40
_FRESH = 2.5  # times the largest of the four cells before: a new knock within the ringing of an old one
_FRESH_CELLS = 4
_CLOSE_S = 0.15  # so long without a loud cell closes an event
_LONGEST_S = 1.0
_MOST_ONSETS = 8  # looked at in one event; the loudest


@dataclass
class Event:
    """Loud cells that belong together, by cell number."""

    first: int
    last: int
    onsets: list[tuple[int, float]] = field(default_factory=list)  # cell, jolt in m/s2

    def loudest(self) -> list[int]:
        """The cells where knocks begin, in order, at most eight."""
        loud = sorted(self.onsets, key=lambda o: -o[1])[:_MOST_ONSETS]
        return sorted(cell for cell, _ in loud)


def contrast(jolt: NDArray[np.float64], rows: NDArray[np.intp]) -> NDArray[np.float64]:
    """Each row's jolt over the median of the forty before it, shape of `rows`."""
    padded = np.concatenate([np.zeros(_BEFORE_CELLS), jolt])  # before a run there was nothing to hear
    views = np.lib.stride_tricks.sliding_window_view(padded, _BEFORE_CELLS)[rows]
    half = _BEFORE_CELLS // 2
    usual = np.partition(views, half, axis=1)[:, half]
    return np.asarray(jolt[rows] / np.maximum(usual, 1e-6))


class AlarmWatch:
    """Takes the cells of one run in order and gives the events that are closed."""

    def __init__(self, cell_s: float) -> None:
        self._close = round(_CLOSE_S / cell_s)
        self._longest = round(_LONGEST_S / cell_s)
        self._open: Event | None = None

    @property
    def open_since(self) -> int | None:
        return self._open.first if self._open else None

    def take(self, table: CellTable, start: int) -> list[Event]:
        """The events closed by the cells from cell number `start` to the table's end."""
        closed: list[Event] = []
        begin = start - table.first
        rows = begin + np.flatnonzero(table.jolt_m_s2[begin:] > JOLT_M_S2)
        if rows.size:
            # the rows before the first are all that a median or a fresh start needs
            base = max(0, begin - _BEFORE_CELLS)
            jolt = table.jolt_m_s2[base:]
            stands_out = contrast(jolt, rows - base) >= _CONTRAST
            for row, out in zip(rows.tolist(), stands_out.tolist(), strict=True):
                self._loud(table, row, out, closed)
        if self._open and table.end - self._open.last > self._close:
            closed.append(self._open)
            self._open = None
        return closed

    def _loud(self, table: CellTable, row: int, out: bool, closed: list[Event]) -> None:
        cell, jolt = table.first + row, float(table.jolt_m_s2[row])
        event = self._open
        if event and (cell - event.last > self._close or cell - event.first > self._longest):
            closed.append(event)
            self._open = event = None
        if event is None:
            if out:
                self._open = Event(cell, cell, [(cell, jolt)])
            return
        event.last = cell
        recent = table.jolt_m_s2[max(0, row - _FRESH_CELLS) : row]
        if jolt > _FRESH * recent.max(initial=0.0):
            event.onsets.append((cell, jolt))

    def finish(self) -> list[Event]:
        event, self._open = self._open, None
        return [event] if event else []
