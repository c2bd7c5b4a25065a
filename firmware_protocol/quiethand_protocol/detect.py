"""Which mode a stream is in: binary once one frame's CRC holds, text once three lines parse."""

from __future__ import annotations

import re
from typing import Final, Literal

from quiethand_protocol.framing import RUN_LIMIT_LIVE, RUN_LIMIT_RECORDING, RUN_MINIMUM, BadRunError, decode_run
from quiethand_protocol.items import TextUnits
from quiethand_protocol.text_lines import LINE_LIMIT, LineError, read_line

__all__ = ["KEPT_LIMIT", "LINES_NEEDED", "ModeDetector"]

KEPT_LIMIT: Final = 4096  # bytes that a recorder keeps back until the mode is known
LINES_NEEDED: Final = 3  # data lines and unit comments; other comments and blank lines prove nothing
_MARK: Final = re.compile(rb"[\x00\n]")


class ModeDetector:
    """Decides on the first byte that settles it, in whatever pieces the bytes come.

    Attributes:
        mode: None until it is known.
    """

    def __init__(self, source: Literal["device", "recording"] = "device") -> None:
        self.mode: Literal["binary", "text"] | None = None
        self._run_limit = RUN_LIMIT_RECORDING if source == "recording" else RUN_LIMIT_LIVE
        self._run = bytearray()  # one byte more than its limit once it is overlong
        self._line = bytearray()  # likewise
        self._lines = 0

    def feed(self, data: bytes) -> Literal["binary", "text"] | None:
        """Take the next bytes of an undecided stream; the mode, once they settle it. Then feed no more.

        Raises:
            ValueError: the mode is known already, so these bytes belong to a parser.
        """
        if self.mode is not None:
            raise ValueError("the mode is known: give further bytes to the parser")
        data = bytes(data)
        at = 0
        for mark in _MARK.finditer(data):
            piece, at = data[at : mark.start()], mark.end()
            _extend(self._run, piece, self._run_limit)
            _extend(self._line, piece, LINE_LIMIT + 1)
            if mark.group() == b"\0":
                if RUN_MINIMUM <= len(self._run) <= self._run_limit and _holds(bytes(self._run)):
                    self.mode = "binary"
                self._run.clear()
                _extend(self._line, b"\0", LINE_LIMIT + 1)
            else:
                if len(self._line) <= LINE_LIMIT + 1 and _parses(bytes(self._line)):
                    self._lines += 1
                    if self._lines == LINES_NEEDED:
                        self.mode = "text"
                self._line.clear()
                _extend(self._run, b"\n", self._run_limit)
            if self.mode is not None:
                return self.mode
        _extend(self._run, data[at:], self._run_limit)
        _extend(self._line, data[at:], LINE_LIMIT + 1)
        return None


def _extend(buffer: bytearray, piece: bytes, limit: int) -> None:
    buffer += piece[: limit + 1 - len(buffer)]


def _holds(run: bytes) -> bool:
    try:
        decode_run(run)
    except BadRunError:
        return False
    return True


def _parses(line: bytes) -> bool:
    try:
        return read_line(line, TextUnits()) is not None
    except LineError:
        return False
