"""A CSV of impacts: what its columns are, and each row read or refused by its line and column."""

from __future__ import annotations

import csv
import difflib
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

from quiethand.bow.faces import FACES
from quiethand.bow.quantities import LENGTH, quantity
from quiethand.errors import InputError

__all__ = ["COLUMNS", "ImpactLine", "ImpactTable", "looks_like_impacts", "read_impacts"]

_MM: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4}
_LARGEST_BYTES: Final = 4_000_000  # the 5000 rows that the store takes at once are a tenth of it
_PLACES: Final = tuple(f"{side}_{unit}" for side in ("right", "up") for unit in _MM)
COLUMNS: Final = (
    *_PLACES, "archer", "bow", "arrow", "recording", "day", "time", "time_utc", "shot_id", "number", "face",
    "distance", "distance_m", "diameter_mm", "remark",
)  # fmt: skip


@dataclass(frozen=True)
class ImpactLine:
    """One row. `None` is an empty field or a column that is not there; times are unix seconds."""

    line: int
    right_mm: float
    up_mm: float
    archer: str | None = None
    bow: str | None = None
    arrow: str | None = None
    recording: str | None = None
    day: str | None = None
    unix_s: float | None = None
    shot_id: int | None = None
    number: int | None = None
    face: str | None = None
    distance_m: float | None = None
    diameter_mm: float | None = None
    remark: str | None = None


@dataclass(frozen=True)
class ImpactTable:
    where: str
    columns: frozenset[str]
    passed_over: tuple[str, ...]  # columns that mean nothing here
    lines: tuple[ImpactLine, ...]


def looks_like_impacts(path: Path) -> bool:
    """Whether a file is a CSV whose header names where arrows hit; a file that can't be read does not."""
    try:
        with path.open("rb") as file:
            head = file.read(4096).removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
    except OSError:
        return False
    names = _names(head.splitlines()[0] if head else "")
    return any(name.startswith("right") for name in names) and any(name.startswith("up") for name in names)


def _delimiter(line: str) -> str:
    return max(",;\t", key=line.count)


def _names(line: str) -> list[str]:
    fields = next(csv.reader([line], delimiter=_delimiter(line)), [])
    return [field.strip().lower().replace(" ", "_") for field in fields]


def read_impacts(path: Path) -> ImpactTable:
    """Read the whole file.

    Raises:
        InputError: the first thing that is wrong, by line and column.
    """
    where = str(path)
    try:
        raw = path.read_bytes()[: _LARGEST_BYTES + 1]
    except OSError as trouble:
        raise InputError(f"can't be read ({trouble.strerror})", where=where, do="check the name") from None
    if len(raw) > _LARGEST_BYTES:
        raise InputError("is over 4 MB, too big for a list of impacts", where=where, do="split it by days")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as trouble:
        line = raw.count(b"\n", 0, trouble.start) + 1
        raise InputError("is not UTF-8 text", where=f"{where}: line {line}", do="save it as UTF-8") from None
    first = text.splitlines()[0] if text.strip() else ""
    names, delimiter = _names(first), _delimiter(first)
    passed_over = _refuse_columns(names, f"{where}: line 1")
    lines = []
    rows = csv.reader(text.splitlines(keepends=True)[1:], delimiter=delimiter)
    while True:
        number = rows.line_num + 2
        try:
            fields = next(rows, None)
        except csv.Error as trouble:
            raise InputError(f"can't be read ({trouble})", where=f"{where}: line {number}", do="mend it") from None
        if fields is None:
            break
        if not any(field.strip() for field in fields):
            continue
        if len(fields) != len(names):
            raise InputError(
                f"{len(fields)} fields, and the header names {len(names)}", where=f"{where}: line {number}",
                do="is a delimiter missing, or a comma in a field without quotes?",
            )  # fmt: skip
        given = {name: field.strip() for name, field in zip(names, fields, strict=True) if field.strip()}
        lines.append(_line(given, number, where, commas=delimiter != ","))
    if not lines:
        raise InputError("holds no impact", where=where, do="is this the file you meant?")
    return ImpactTable(where, frozenset(names), passed_over, tuple(lines))


def _refuse_columns(names: list[str], where: str) -> tuple[str, ...]:
    """The columns that mean nothing here; one that was likely meant as another is refused."""
    for name in names:
        if names.count(name) > 1:
            raise InputError(f'the column "{name}" is there twice', where=where, do="keep one of them")
    for side in ("right", "up"):
        there = [name for name in names if name in {f"{side}_{unit}" for unit in _MM}]
        if len(there) != 1:
            said = f"{' and '.join(there)} say the same" if there else f"no column says how far {side} an arrow hit"
            raise InputError(said, where=where, do=f"name one column {side}_mm, {side}_cm or {side}_in")
    if {"distance", "distance_m"} <= set(names) or {"time", "time_utc"} <= set(names):
        both = "distance and distance_m" if "distance" in names else "time and time_utc"
        raise InputError(f"{both} say the same", where=where, do="keep one of them")
    others = tuple(name for name in names if name not in COLUMNS)
    for name in others:
        near = difflib.get_close_matches(name, COLUMNS, n=1, cutoff=0.8)
        if near:
            raise InputError(f'the column "{name}" is unknown', where=where, do=f'did you mean "{near[0]}"?')
    return others


def _line(given: Mapping[str, str], number: int, where: str, *, commas: bool) -> ImpactLine:
    def read(name: str, by: Callable[[str], Any]) -> Any:
        try:
            return by(given[name]) if name in given else None
        except InputError as wrong:
            raise InputError(wrong.what, where=f"{where}: line {number}, {name}", do=wrong.do) from None

    def numeric(text: str) -> float:
        return _number(text.replace(",", ".") if commas else text)

    place: dict[str, float] = {}
    for side in ("right", "up"):
        for unit, factor in _MM.items():
            value = read(f"{side}_{unit}", numeric)
            if value is not None:
                place[side] = value * factor
        if side not in place:
            do = "give a number, or leave the line out"
            raise InputError("is empty", where=f"{where}: line {number}, {side}", do=do)
    day = read("day", _day)
    unix_s = read("time_utc", lambda text: _time(text, day, utc=True))
    if unix_s is None:
        unix_s = read("time", lambda text: _time(text, day, utc=False))
    metres = read("distance_m", lambda text: _positive(numeric(text)))
    if metres is None:
        metres = read("distance", lambda text: _positive(quantity(text, LENGTH)))
    return ImpactLine(
        number, place["right"], place["up"],
        **{name: given.get(name) for name in ("archer", "bow", "arrow", "recording", "remark")},
        day=day,
        unix_s=unix_s,
        shot_id=read("shot_id", _whole),
        number=read("number", _whole),
        face=read("face", _face),
        distance_m=metres,
        diameter_mm=read("diameter_mm", lambda text: _positive(numeric(text))),
    )  # fmt: skip


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f'"{text[:40]}" is not a number', do="write it as in -12.5")
    return value


def _positive(value: float) -> float:
    if value <= 0:
        raise InputError(f"{value:g} is not over 0", do="mend it or leave the field empty")
    return value


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text[:10]) < 2**31):
        raise InputError(f'"{text[:40]}" is not a whole number from 1', do="write it as in 3")
    return int(text)


def _face(text: str) -> str:
    for name in FACES:
        if text.replace(" ", "").lower() == name.replace(" ", ""):
            return name
    raise InputError(f'"{text[:40]}" is no face', do=f"write {', '.join(FACES)}")


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError(f'"{text[:40]}" is not a day', do="write it as 2026-11-25") from None


def _time(text: str, day: str | None, *, utc: bool) -> float:
    """Unix seconds. A time without its zone is of this machine's, or of UTC in a column that says so."""
    whole = text if "-" in text[:8] or day is None else f"{day}T{text}"
    try:
        moment = datetime.fromisoformat(whole)
        if len(whole) <= 10:
            raise ValueError
        return (moment.replace(tzinfo=UTC) if utc and moment.tzinfo is None else moment).timestamp()
    except (ValueError, OverflowError, OSError):
        do = "write it as 2026-11-25T19:04:11, or 19:04:11 with the day in a column of its own"
        raise InputError(f'"{text[:40]}" is not a time', do=do) from None
