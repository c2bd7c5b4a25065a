"""The parser of text mode: bytes of lines in, blocks of samples and lines that do not parse out; no I/O.

Like the parser of frames it never raises on any bytes, holds at most one line, and gives the same in any chunking once
neighbours are merged (`merge_text_items`).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from quiethand_protocol.items import TextBlock, TextItem, TextUnits, Trouble, merged_trouble
from quiethand_protocol.text_lines import LINE_LIMIT, LineError, read_line

__all__ = ["TextParser"]

_WRAP: Final = 2**32
_WRAP_STEP_US: Final = 10_000_000  # a step back that is under this forward modulo 2^32 is a wrap
_LONGEST_STEP_US: Final = 2**63 - 1


class TextParser:
    """Reads the lines of one stream: bare bytes through `feed`, TEXT frames through `feed_frame`.

    Attributes:
        units: in force now.
        lines: data lines that parsed.
        bad_lines: lines that did not parse.
        bytes_fed: bytes taken so far.
    """

    def __init__(self) -> None:
        self.units = TextUnits()
        self.lines = self.bad_lines = self.bytes_fed = 0
        self._held = bytearray()
        self._let_go = 0
        self._line_offset = 0
        self._last_t_us: int | None = None
        self._begin()

    def feed(self, data: bytes) -> list[TextItem]:
        """Take the next bytes of a bare text stream and give what they complete."""
        items: list[TextItem] = []
        data = bytes(data)
        self.bytes_fed += len(data)
        *lines, tail = data.split(b"\n")
        for line in lines:
            length = len(self._held) + self._let_go + len(line) + 1
            if self._let_go:
                self._bad("it is over 256 bytes long", self._line_offset, length, b"", items)
            else:
                self._line(bytes(self._held) + line, self._line_offset, length, items)
            self._held.clear()
            self._let_go = 0
            self._line_offset += length
        if self._let_go or len(self._held) + len(tail) > LINE_LIMIT + 1:  # one more for a CR
            self._let_go += len(self._held) + len(tail)
            self._held.clear()
        else:
            self._held += tail
        self._flush(items)
        return items

    def feed_frame(self, data: bytes, offset: int) -> list[TextItem]:
        """Take the payload of one TEXT frame; every line is placed at the frame's `offset`.

        A line never runs on from one frame to the next, so one without its LF does not parse.
        """
        items: list[TextItem] = []
        self.bytes_fed += len(data)
        *lines, tail = bytes(data).split(b"\n")
        for line in lines:
            self._line(line, offset, len(line) + 1, items)
        if tail:
            self._bad("it has no line end", offset, len(tail), tail, items)
        self._flush(items)
        return items

    def gap(self) -> None:
        """The link was lost here (GAP, or a later HEADER): the next line opens a segment. Units hold."""
        self._last_t_us = None

    def finish(self) -> list[TextItem]:
        """Say that no more bytes come: a line without its LF does not parse, for it may be cut in a number."""
        items: list[TextItem] = []
        length = len(self._held) + self._let_go
        if length:
            self._bad("it has no line end", self._line_offset, length, bytes(self._held), items)
        self._held.clear()
        self._let_go = 0
        self._line_offset += length
        return items

    def _begin(self) -> None:
        self._offset: list[int] = []
        self._t_us: list[int] = []
        self._step_us: list[int] = []
        self._opens: list[bool] = []
        self._values: list[list[float]] = []

    def _flush(self, items: list[TextItem]) -> None:
        if not self._t_us:
            return
        items.append(
            TextBlock(
                np.array(self._offset, np.int64),
                np.array(self._t_us, np.uint64),
                np.array(self._step_us, np.int64),
                np.array(self._opens, np.bool_),
                np.array(self._values, np.float64),
                self.units,
            )
        )
        self._begin()

    def _line(self, line: bytes, offset: int, length: int, items: list[TextItem]) -> None:
        try:
            said = read_line(line, self.units)
        except LineError as error:
            self._bad(str(error), offset, length, line, items)
            return
        if said is None:
            return
        if isinstance(said, TextUnits):
            if said != self.units:
                self._flush(items)
                self.units = said
            return
        t_us, values = said
        step = _step_us(self._last_t_us, t_us)
        self._last_t_us = t_us
        self._offset.append(offset)
        self._t_us.append(t_us)
        self._step_us.append(step or 0)
        self._opens.append(step is None)
        self._values.append(values)
        self.lines += 1

    def _bad(self, why: str, offset: int, length: int, line: bytes, items: list[TextItem]) -> None:
        self._flush(items)
        self.bad_lines += 1
        # Of a line too long to be held nothing is left to show, so nothing is shown of one that arrived whole either.
        detail = line[:60].decode("utf-8", "replace") if length <= LINE_LIMIT + 2 else f"{length} bytes"
        new = Trouble("line", offset, length, why, detail=detail)
        last = items[-1] if items else None
        both = merged_trouble(last, new) if isinstance(last, Trouble) else None
        if both is not None:
            items[-1] = both
        else:
            items.append(new)


def _step_us(last: int | None, t_us: int) -> int | None:
    """Microseconds since the line before, wraps undone; None where a segment opens."""
    if last is None:
        return None
    if t_us >= last:
        return t_us - last if t_us - last <= _LONGEST_STEP_US else None
    forward = (t_us - last) % _WRAP
    return forward if last < _WRAP and forward < _WRAP_STEP_US else None
