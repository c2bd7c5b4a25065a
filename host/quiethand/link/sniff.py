"""What a file is, told by its first bytes alone: frames, text mode or CSV. Its name says nothing."""

from __future__ import annotations

from typing import Final, Literal

from quiethand_protocol import ModeDetector

from quiethand.link.csv_header import looks_like_header, split_line

__all__ = ["HEAD_BYTES", "Kind", "sniff"]

Kind = Literal["binary", "text", "csv"]

HEAD_BYTES: Final = 1 << 17  # holds the longest frame, and what a boot prints before the first
COLUMNS_LEAST: Final = 4  # of a line that is taken for a CSV's though it names nothing known: prose has fewer commas
# The types of frames there are: a file so short or so damaged that no CRC holds is still told by how it begins.
_TYPES: Final = frozenset({*range(0x01, 0x07), *range(0x80, 0x86)})


def sniff(head: bytes) -> Kind | None:
    """The kind of recording that begins with these bytes; None: no recording at all."""
    first = _first_line(head)
    if first is not None and looks_like_header(first):
        return "csv"
    mode = ModeDetector("recording").feed(head)
    if mode is not None:
        return mode
    if first is not None and len(split_line(first)) >= COLUMNS_LEAST:
        return "csv"  # numbers or words in columns: the reader says what it lacks
    run = head.lstrip(b"\0")
    if len(run) >= 2 and run[0] >= 2 and run[1] in _TYPES:
        return "binary"
    if run[:1] and len(run) == 1:
        return "binary"
    return None


def _first_line(head: bytes) -> str | None:
    """The first line that is not blank nor a comment, if the bytes are text."""
    for line in head.removeprefix(b"\xef\xbb\xbf").split(b"\n"):
        stripped = line.strip()
        if not stripped or stripped.startswith(b"#"):
            continue
        try:
            text = stripped.decode("utf-8")
        except UnicodeDecodeError:
            return None
        return text if text.isprintable() or "\t" in text else None
    return None
