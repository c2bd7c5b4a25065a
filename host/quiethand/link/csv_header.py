"""The header of a CSV: which columns are time and axes, and in which units."""

from __future__ import annotations

import csv
import difflib
import math
import re
from dataclasses import dataclass
from typing import Final

from quiethand.errors import InputError

__all__ = ["Columns", "columns_of", "looks_like_header", "split_line"]

TIME_UNITS: Final = {"t_s": 1.0, "t_ms": 1e-3, "t_us": 1e-6}
ACCEL_UNITS: Final = {"m_s2": 1.0, "g": 9.80665}  # standard gravity, exact by definition
GYRO_UNITS: Final = {"rad_s": 1.0, "deg_s": math.pi / 180.0}
AXES: Final = ("ax", "ay", "az", "gx", "gy", "gz")
CLIPPED: Final = ("accel_clipped", "gyro_clipped")  # 0 or 1; looked at only where both are there
DELIMITERS: Final = ",;\t"
KNOWN: Final = frozenset({*TIME_UNITS, *(f"{a}_{u}" for a in AXES for u in (ACCEL_UNITS if a < "b" else GYRO_UNITS))})
_NUMBER: Final = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*")


@dataclass(frozen=True)
class Columns:
    """Where the seven numbers are in a row (and the two of `CLIPPED`), and what each is worth in SI units."""

    delimiter: str
    count: int  # columns in all
    names: tuple[str, ...]  # time, ax ay az gx gy gz, and those of `CLIPPED` where they are stated
    places: tuple[int, ...]
    factors: tuple[float, ...]


def split_line(line: str) -> list[str]:
    """Fields of one line, by the delimiter it holds most of."""
    delimiter = max(DELIMITERS, key=line.count)
    return [field.strip() for field in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]


def looks_like_header(line: str) -> bool:
    """Whether a line names any column that is read here."""
    return any(field.lower() in KNOWN for field in split_line(line))


def columns_of(line: str, where: str) -> Columns:
    """Read a header.

    Raises:
        InputError: it is none, or lacks a column.
    """
    do = "name the columns t_s, t_ms or t_us; ax ay az with _m_s2 or _g; gx gy gz with _rad_s or _deg_s"
    fields = [field.lower() for field in split_line(line)]
    if all(_NUMBER.fullmatch(field) or not field for field in fields):
        raise InputError("the CSV has no header", where=where, do=do)
    options = {"time": TIME_UNITS, **{axis: {f"{axis}_{u}": f for u, f in _units(axis).items()} for axis in AXES}}
    chosen = [_one_of(of, what, fields, where, do) for what, of in options.items()]
    if all(fields.count(name) == 1 for name in CLIPPED):
        chosen += [(name, 1.0) for name in CLIPPED]
    return Columns(
        max(DELIMITERS, key=line.count),
        len(fields),
        tuple(name for name, _ in chosen),
        tuple(fields.index(name) for name, _ in chosen),
        tuple(factor for _, factor in chosen),
    )


def _one_of(options: dict[str, float], what: str, fields: list[str], where: str, do: str) -> tuple[str, float]:
    for name, factor in options.items():
        if name in fields:
            if fields.count(name) > 1:
                raise InputError(f"the column {name} is there twice", where=where, do="keep one of them")
            return name, factor
    others = [field for field in fields if field not in KNOWN]
    near = [name for of in (what, *options) for name in difflib.get_close_matches(of, others, n=1, cutoff=0.7)]
    hint = f" (there is {near[0]!r})" if near else ""
    raise InputError(f"the column {' or '.join(options)} is missing{hint}", where=where, do=do)


def _units(axis: str) -> dict[str, float]:
    return ACCEL_UNITS if axis.startswith("a") else GYRO_UNITS
