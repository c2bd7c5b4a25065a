"""How one key of a set-up is read: from what TOML or JSON gives to a plain value in SI units, or a refusal that says
which key, which value, and what would be right."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

from quiethand.axes import AXIS_NAMES, Axes
from quiethand.bow.quantities import FORCE, INERTIA, LENGTH, Dimension, quantity, shown
from quiethand.errors import InputError

__all__ = [
    "Reader",
    "choice",
    "curve",
    "fraction",
    "inertia",
    "matrix",
    "mount",
    "number",
    "positive",
    "signed",
    "text",
    "vector",
]

Reader = Callable[[object, str], Any]  # (value, where) to the value in SI units

LONGEST_TEXT: Final = 200
MOST_CURVE_POINTS: Final = 1000
MOUNT_SLACK: Final = 0.02  # a quaternion typed with two digits is off by this much


def text(value: object, where: str) -> str:
    """A name: printable text of at most 200 characters."""
    if not isinstance(value, str):
        raise InputError(f"{shown(value)} is not text", where=where, do="write it in quotes")
    if len(value) > LONGEST_TEXT or not value.isprintable():
        raise InputError(f"{shown(value)} is too long or not printable", where=where, do="write a short name")
    return value


def choice(*options: str) -> Reader:
    def read(value: object, where: str) -> str:
        if value not in options:
            raise InputError(f"{shown(value)} is none of its values", where=where, do=f"write {_either(options)}")
        return str(value)

    return read


def number(value: object, where: str, *, low: float, high: float, do: str) -> float:
    """A plain number, low <= value <= high."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(f"{shown(value)} is not a plain number", where=where, do=do)
    if not low <= value <= high:  # also refuses NaN
        raise InputError(f"{shown(value)} is out of range", where=where, do=do)
    return float(value)


def fraction(highest: float, what: str) -> Reader:
    """A fraction from 0 to `highest`; a percentage is told how to write itself."""

    def read(value: object, where: str) -> float:
        do = f"write {what} as a fraction from 0 to {highest:g}"
        percent = value.strip().removesuffix("%") if isinstance(value, str) else value
        try:
            share = float(percent) / 100  # type: ignore[arg-type]
        except (TypeError, ValueError, OverflowError):
            share = math.nan
        if 0.01 < share <= highest and not isinstance(value, bool):
            do = f"write {share:.2f} for {share * 100:g} %"
        elif isinstance(value, str) and 0 <= share * 100 <= highest:
            do = f"write {share * 100:g} without quotes"
        return number(value, where, low=0.0, high=highest, do=do)

    return read


def positive(dimension: Dimension, low: float, high: float) -> Reader:
    """A quantity between two SI bounds, wide enough for anything real: they catch slips of unit and sign."""

    def read(value: object, where: str) -> float:
        si = quantity(value, dimension, where)
        if si < 0 or (si == 0 and low > 0):
            raise InputError(
                f"{shown(value)} must be {'over' if low > 0 else 'at least'} 0", where=where, do=_as_in(dimension)
            )
        return _within(si, value, where, low, high, dimension)

    return read


def signed(dimension: Dimension, size: float) -> Reader:
    """A quantity of either sign, at most `size` in SI units."""
    return lambda value, where: _within(quantity(value, dimension, where), value, where, -size, size, dimension)


def vector(dimension: Dimension, size: float) -> Reader:
    """Three quantities along x, y, z, each at most `size` in SI units."""
    one = signed(dimension, size)

    def read(value: object, where: str) -> tuple[float, ...]:
        if not isinstance(value, (list, tuple)) or len(value) != 3:
            raise InputError(
                f"{shown(value)} is not three quantities",
                where=where,
                do=f'write ["{dimension.example}", ..., ...] for x, y, z',
            )
        return tuple(one(v, f"{where}[{i}]") for i, v in enumerate(value))

    return read


def mount(value: object, where: str) -> tuple[float, ...]:
    """A unit quaternion x y z w, sensor to bow frame; a length within 2 % of 1 is made 1."""
    do = "write the four numbers x, y, z, w of a unit quaternion; [0, 0, 0, 1] is a sensor along the bow's axes"
    if not isinstance(value, (list, tuple)) or len(value) != 4:
        raise InputError(f"{shown(value)} is not four numbers", where=where, do=do)
    q = [number(v, f"{where}[{i}]", low=-1.1, high=1.1, do=do) for i, v in enumerate(value)]
    length = math.sqrt(sum(v * v for v in q))
    if abs(length - 1) > MOUNT_SLACK:
        raise InputError(f"{shown(list(value))} has length {length:.4g}, not 1", where=where, do=do)
    return tuple(v / length for v in q)


def matrix(value: object, where: str) -> tuple[tuple[float, ...], ...]:
    """Three rows of three plain numbers near the unit matrix: f = matrix (raw - offset)."""
    do = "write three rows of three plain numbers, near [[1, 0, 0], [0, 1, 0], [0, 0, 1]]"
    if not isinstance(value, (list, tuple)) or len(value) != 3:
        raise InputError(f"{shown(value)} is not three rows", where=where, do=do)
    rows = []
    for i, row in enumerate(value):
        if not isinstance(row, (list, tuple)) or len(row) != 3:
            raise InputError(f"{shown(row)} is not three numbers", where=f"{where}[{i}]", do=do)
        rows.append(tuple(number(v, f"{where}[{i}][{j}]", low=-2.0, high=2.0, do=do) for j, v in enumerate(row)))
    (a, b, c), (d, e, f), (g, h, k) = rows
    if abs(a * (e * k - f * h) - b * (d * k - f * g) + c * (d * h - e * g)) < 0.1:
        raise InputError(f"{shown(value)} is no calibration: it flattens space", where=where, do=do)
    return tuple(rows)


def inertia(value: object, where: str) -> Axes:
    """Moments of inertia about the centre of mass, kg m2, as a table of cant, pitch and yaw."""
    do = 'write { cant = "0.10 kg m^2", pitch = "0.38 kg m^2", yaw = "0.32 kg m^2" }'
    if not isinstance(value, Mapping):
        raise InputError(f"{shown(value)} is not a table", where=where, do=do)
    for key in value:
        if key not in AXIS_NAMES:
            raise InputError(f"unknown axis {shown(key)}", where=where, do=do)
    one = positive(INERTIA, 1e-4, 10.0)
    return Axes(**{axis: one(v, f"{where}.{axis}") for axis, v in value.items()})


def curve(value: object, where: str) -> tuple[tuple[float, float], ...]:
    """The draw-force curve: rows of string to pivot point and force, from brace (no force) to full draw."""
    do = (
        "write rows of [string to pivot point, force] from brace to full draw, "
        'as in [["7 in", "0 lbf"], ["8 in", "12 lbf"], ...]'
    )
    if not isinstance(value, (list, tuple)) or not 3 <= len(value) <= MOST_CURVE_POINTS:
        raise InputError(f"{shown(value)} is not a list of 3 to {MOST_CURVE_POINTS} points", where=where, do=do)
    points: list[tuple[float, float]] = []
    for i, row in enumerate(value):
        here = f"{where}[{i}]"
        if not isinstance(row, (list, tuple)) or len(row) != 2:
            raise InputError(f"{shown(row)} is not a length and a force", where=here, do=do)
        position = positive(LENGTH, 0.01, 2.0)(row[0], here)
        force = positive(FORCE, 0.0, 2000.0)(row[1], here)
        if points and position <= points[-1][0]:
            before = value[i - 1][0]
            do_order = "put the points in order of length, each length once"
            what = f"{shown(row[0])} comes after {shown(before)}: the lengths must grow from point to point"
            raise InputError(what, where=here, do=do_order)
        if points and force == 0:
            raise InputError(
                f"{shown(row[1])} away from brace: a drawn string pulls",
                where=here,
                do="leave the point out, or correct it",
            )
        points.append((position, force))
    peak = max(force for _, force in points)
    if points[0][1] > 0.02 * peak:
        raise InputError(
            f"the curve starts at {shown(value[0][1])}, not at 0",
            where=f"{where}[0]",
            do='let the first point be brace height at "0 lbf"',
        )
    points[0] = (points[0][0], 0.0)
    return tuple(points)


def _within(si: float, value: object, where: str, low: float, high: float, dimension: Dimension) -> float:
    if not low <= si <= high:
        bounds = f"between {low:g} and {high:g}" if low > -high else f"at most {high:g} either way"
        raise InputError(
            f"{shown(value)} is out of range",
            where=where,
            do=f"it must be {bounds} ({dimension.si}); {_as_in(dimension)}",
        )
    return si


def _as_in(dimension: Dimension) -> str:
    return f'write it as in "{dimension.example}"'


def _either(options: tuple[str, ...]) -> str:
    return " or ".join(f'"{option}"' for option in options)
