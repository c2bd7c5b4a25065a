"""Figures as a report words them: sizes with their unit, signs in words, ranges that may cross from one side to the
other."""

from __future__ import annotations

import math
from typing import Final

from quiethand.report.gathered import Shown
from quiethand.words import axis_direction, shift_direction

__all__ = ["day_words", "directed", "plural", "ranged", "short_day", "span_words", "way"]

_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def way(shown: Shown, value: float) -> str:
    """Which way a signed figure goes; "" for a magnitude and for what is shown as zero."""
    if shown.axis is None or not float(f"{abs(value):.{shown.digits}f}"):
        return ""
    return shift_direction(shown.axis, value) if shown.axis in ("right", "up") else axis_direction(shown.axis, value)


def directed(shown: Shown, value: float | None) -> str:
    """ "0.121 deg left", "17.20 ms", or what is not known."""
    if value is None or not math.isfinite(value):
        return "not known"
    size = abs(value) if shown.axis else value
    return f"{size:.{shown.digits}f} {shown.unit} {way(shown, value)}".strip()


def ranged(shown: Shown, low: float, high: float) -> str:
    """ "0.10 to 0.14 left", "0.02 right to 0.08 left": the end that lies nearer to nothing first, units left out."""
    ends = sorted((low, high), key=abs) if shown.axis else [low, high]
    if shown.axis is None:
        return f"{ends[0]:.{shown.digits}f} to {ends[1]:.{shown.digits}f}"
    words = [(f"{abs(end):.{shown.digits}f}", way(shown, end)) for end in ends]
    if words[0][1] in ("", words[1][1]):
        return f"{words[0][0]} to {words[1][0]} {words[1][1]}".strip()
    return f"{words[0][0]} {words[0][1]} to {words[1][0]} {words[1][1]}".strip()


def plural(count: int, word: str) -> str:
    return f"{count:,} {word}" if count == 1 else f"{count:,} {word}s"


def day_words(day: str) -> str:
    """ "25 November 2026" from "2026-11-25"."""
    year, month, of_month = day.split("-")
    return f"{int(of_month)} {_MONTHS[int(month) - 1]} {year}"


def short_day(day: str) -> str:
    """ "25 Nov" from "2026-11-25"."""
    return f"{int(day[8:])} {_MONTHS[int(day[5:7]) - 1][:3]}"


def span_words(first: str, last: str) -> str:
    """ "3 to 25 November 2026", with no more of the first day than differs."""
    if first == last:
        return day_words(first)
    end = day_words(last)
    if first[:7] == last[:7]:
        return f"{int(first[8:])} to {end}"
    if first[:4] == last[:4]:
        return f"{day_words(first).rsplit(' ', 1)[0]} to {end}"
    return f"{day_words(first)} to {end}"
