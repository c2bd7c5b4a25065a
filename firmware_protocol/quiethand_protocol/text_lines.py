"""One line of text mode: what it says, or why it does not parse."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Final, Literal, TypeAlias, cast

from quiethand_protocol.items import TextUnits

__all__ = ["LINE_LIMIT", "DataLine", "LineError", "read_line", "xor_of"]

LINE_LIMIT: Final = 256  # bytes without the line end
DataLine: TypeAlias = tuple[int, list[float]]  # t_us and the six values

_NUMBER: Final = rb"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_DATA: Final = re.compile(rb"([0-9]{1,20})" + rb",(" + _NUMBER + rb")" + (rb",(" + _NUMBER + rb")") * 5)
_SCALE: Final = re.compile(_NUMBER)
_UNIT_COMMENT: Final = re.compile(rb"#[ \t]*(accel_unit|gyro_unit|accel_scale|gyro_scale)=(.*)", re.DOTALL)
_HEX: Final = re.compile(rb"[0-9A-Fa-f]{2}")
_ACCEL_UNITS: Final = ("m/s2", "g", "counts")
_GYRO_UNITS: Final = ("rad/s", "deg/s", "counts")


class LineError(ValueError):
    """A line that does not parse; the message says why, the same words for the same reason."""


def xor_of(content: bytes) -> int:
    """The exclusive or of all bytes, by folding: several times quicker than one byte after the other."""
    folded = int.from_bytes(content, "little")
    half = 1 << (8 * max(len(content) - 1, 0)).bit_length()
    while half >= 8:
        folded ^= folded >> half
        half >>= 1
    return folded & 0xFF


def _unsealed(line: bytes) -> bytes:
    """The line without its checksum, which is checked if it is there."""
    content, star, seal = line.partition(b"*")
    if not star:
        return line
    if not _HEX.fullmatch(seal):
        raise LineError("what follows * is not two hex digits")
    if int(seal, 16) != xor_of(content):
        raise LineError("its checksum does not hold")
    return content


def _units(units: TextUnits, key: bytes, value: bytes) -> TextUnits:
    if key.endswith(b"_unit"):
        name = value.decode("ascii", "replace")
        if key == b"accel_unit" and name in _ACCEL_UNITS:
            return replace(units, accel=cast(Literal["m/s2", "g", "counts"], name))
        if key == b"gyro_unit" and name in _GYRO_UNITS:
            return replace(units, gyro=cast(Literal["rad/s", "deg/s", "counts"], name))
        raise LineError("it names a unit that is not one of the three")
    scale = float(value) if _SCALE.fullmatch(value) else 0.0
    if not (math.isfinite(scale) and scale > 0):
        raise LineError("it states a scale that is not finite and over 0")
    return replace(units, accel_scale=scale) if key == b"accel_scale" else replace(units, gyro_scale=scale)


def read_line(line: bytes, units: TextUnits) -> DataLine | TextUnits | None:
    """What a line without its LF says: a sample, the units from now on, or (comments, blank lines) nothing.

    Raises:
        LineError: it is none of these.
    """
    line = line.removesuffix(b"\r")
    if len(line) > LINE_LIMIT:
        raise LineError(f"it is over {LINE_LIMIT} bytes long")
    if line.startswith(b"#"):
        if _UNIT_COMMENT.fullmatch(line) is None:
            return None
        comment = _UNIT_COMMENT.fullmatch(_unsealed(line))
        if comment is None:
            raise LineError("its checksum cuts off what it says")
        return _units(units, *comment.groups())
    content = _unsealed(line)
    if not line.strip(b" \t"):
        return None
    match = _DATA.fullmatch(content)
    if match is None:
        raise LineError("it is not seven numbers with commas between")
    t_us, *values = match.groups()
    numbers = list(map(float, values))
    if (b"e" in content or b"E" in content) and not all(map(math.isfinite, numbers)):
        raise LineError("it holds a number beyond a double")
    time = int(t_us)
    if time >= 2**64:
        raise LineError("its t_us is beyond 64 bits")
    return time, numbers
