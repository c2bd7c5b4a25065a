"""A text-mode stream on its way to a recording: whole lines, as received, in TEXT frames. Pure."""

from __future__ import annotations

from typing import Final

from quiethand_protocol.encoding import encode
from quiethand_protocol.framing import HOST_BODY_LIMIT
from quiethand_protocol.messages import Text

__all__ = ["TextLines"]

_MOST_IN_A_FRAME: Final = HOST_BODY_LIMIT - 5  # type and CRC
# What has no line end for this long is no text (a line has at most 256 bytes); kept whole as long as a frame holds it,
# so that the end of rubbish does not look like a line of its own.
_LONGEST_KEPT: Final = _MOST_IN_A_FRAME

_TIME_DIGITS: Final = 18  # so that it fits the 64 bits of a CLOCK


class TextLines:
    """Attributes: `data_lines`, whole lines passed that are no comments; `last_t_us`, the time the last one states."""

    def __init__(self) -> None:
        self.data_lines = 0
        self.last_t_us: int | None = None
        self._unfinished = bytearray()

    def feed(self, data: bytes) -> bytes:
        """The frames of all lines that `data` finishes, b"" if none."""
        self._unfinished += data
        end = self._unfinished.rfind(b"\n") + 1
        if not end and len(self._unfinished) > _LONGEST_KEPT:
            end = len(self._unfinished)
        whole = bytes(self._unfinished[:end])
        del self._unfinished[:end]
        for line in whole.splitlines():
            if line and not line.startswith(b"#"):
                self.data_lines += 1
                time = line.partition(b",")[0]
                if time.isdigit() and len(time) <= _TIME_DIGITS:
                    self.last_t_us = int(time)
        return _frames(whole)

    def cut(self) -> bytes:
        """The unfinished line as it is, in a frame of its own; b"" if there is none."""
        rest = bytes(self._unfinished)
        self._unfinished.clear()
        return _frames(rest)


def _frames(data: bytes) -> bytes:
    frames = bytearray()
    at = 0
    while at < len(data):
        end = min(at + _MOST_IN_A_FRAME, len(data))
        if end < len(data):
            end = data.rfind(b"\n", at, end) + 1 or end
        frames += encode(Text(data[at:end]))
        at = end
    return bytes(frames)
