"""Impacts from a CSV file that a person brings: read with care, refused in one line. Pure."""

from __future__ import annotations

import base64
import binascii
import csv
import io
import math
from dataclasses import dataclass
from typing import Final

from quiethand.errors import InputError

__all__ = ["MOST_LINES", "ReadImpact", "read_impacts", "uploaded_text"]

MOST_LINES: Final = 5000  # as many as the store takes at once
_UNITS: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4}
_DO: Final = (
    "give a header with right_mm and up_mm (or _cm, _in), and shot with its number where an impact belongs to one"
)


@dataclass(frozen=True)
class ReadImpact:
    """From the middle of the face, + right and + up; `shot` is a number of the day, None where not stated."""

    right_mm: float
    up_mm: float
    shot: int | None
    diameter_mm: float | None
    remark: str


def uploaded_text(contents: str) -> str:
    """The text of what the browser sent ("data:text/csv;base64,...").

    Raises:
        InputError: it is no text.
    """
    try:
        return base64.b64decode(contents.partition(",")[2], validate=True).decode("utf-8-sig")
    except (binascii.Error, ValueError):
        raise InputError("this file is no text", do="export the impacts as CSV in UTF-8") from None


def read_impacts(text: str) -> list[ReadImpact]:
    """Every line of the file.

    Raises:
        InputError: no such columns, a line that is not understood (by its number), none, or more than 5000.
    """
    try:
        dialect: type[csv.Dialect] | csv.Dialect = csv.Sniffer().sniff(text[:4096], delimiters=",;\t")
    except csv.Error:
        dialect = csv.excel
    lines = csv.reader(io.StringIO(text), dialect)
    try:
        header = [name.strip().lower() for name in next(lines)]
    except (StopIteration, csv.Error):
        raise InputError("this file is empty", do=_DO) from None
    right, up = (_column(header, side) for side in ("right", "up"))
    shot, remark = (header.index(name) if name in header else None for name in ("shot", "remark"))
    shaft = header.index("diameter_mm") if "diameter_mm" in header else None
    found: list[ReadImpact] = []
    try:
        for number, line in enumerate(lines, start=2):
            if not any(cell.strip() for cell in line):
                continue
            if len(found) == MOST_LINES:
                raise InputError(f"more than {MOST_LINES} impacts", do="split the file")
            stated = _cell(line, shot)
            found.append(
                ReadImpact(
                    _number(line, right, number),
                    _number(line, up, number),
                    None if not stated else round(_number(line, (shot or 0, 1.0), number)),
                    None if not _cell(line, shaft) else _number(line, (shaft or 0, 1.0), number),
                    _cell(line, remark),
                )
            )
    except csv.Error as error:
        raise InputError(f"this file is no CSV ({error})", do=_DO) from None
    if not found:
        raise InputError("there is no impact in this file", do=_DO)
    return found


def _column(header: list[str], side: str) -> tuple[int, float]:
    for unit, factor in _UNITS.items():
        if f"{side}_{unit}" in header:
            return header.index(f"{side}_{unit}"), factor
    raise InputError(f"this file has no column {side}_mm", do=_DO)


def _cell(line: list[str], column: int | None) -> str:
    return line[column].strip() if column is not None and column < len(line) else ""


def _number(line: list[str], column: tuple[int, float], number: int) -> float:
    text = _cell(line, column[0])
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f'line {number} has "{text[:40]}" where a number should be', do=_DO)
    return value * column[1]
