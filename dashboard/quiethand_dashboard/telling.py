"""A shot in plain words: sentence, figures with their words for signs, flags. Pure; takes the contract's dicts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from quiethand.words import NOT_KNOWN, axis_direction

__all__ = [
    "Said",
    "clock_time",
    "day_in_words",
    "day_words",
    "digits_for",
    "flag_mark",
    "flag_marks",
    "is_day",
    "said_axis",
    "said_shift",
    "said_window",
    "sentence",
    "stands_clear",
    "zone_of",
]

# a mark of its own shape for each verdict, so that a row can be read without colour
_MARKS: Final = {
    "over": ("▲", "over the limit"),
    "too_close_to_tell": ("◇", "too close to tell"),
    "unusual": ("○", "unusual for this archer"),
}
_SHARE_THAT_RULES: Final = 0.6  # a part is named as where most came from when it makes this much of the whole


@dataclass(frozen=True)
class Said:
    """A figure as it is read: "4.1", "mm left", "± 0.6"."""

    number: str
    unit: str
    sigma: str = ""

    @property
    def text(self) -> str:
        return f"{self.number} {self.unit}".strip()


_UNKNOWN: Final = Said("–", NOT_KNOWN)


def digits_for(sigma: float | None, *, usual: int, most: int = 4) -> int:
    """Decimals to show: as many as the uncertainty justifies (its first digit, two where that is a 1)."""
    if sigma is None or not math.isfinite(sigma) or sigma <= 0:
        return usual
    exponent = math.floor(math.log10(sigma))
    leading_one = sigma / 10**exponent < 1.95
    return min(max(-exponent + (1 if leading_one else 0), 0), most)


def _known(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def _sized(value: float, sigma: float | None, unit: str, way: str, digits: int) -> Said:
    spread = f"± {sigma:.{digits}f}" if sigma is not None and math.isfinite(sigma) else ""
    number = f"{value:.{digits}f}"
    way = way if float(number) else ""  # what is shown as zero has no direction
    return Said(number, f"{unit} {way}".strip(), spread)


def said_axis(axis: str, value: float | None, sigma: float | None = None, unit: str = "deg") -> Said:
    """A turn: size, unit and direction in words; `axis` is "cant", "pitch" or "yaw"."""
    if value is None or not _known(value):
        return _UNKNOWN
    return _sized(abs(value), sigma, unit, axis_direction(axis, value), digits_for(sigma, usual=2))


def said_shift(side: str, value: float | None, sigma: float | None = None) -> Said:
    """A pointing shift in mm; `side` is "right" or "up"."""
    if value is None or not _known(value):
        return _UNKNOWN
    plus, minus = {"right": ("right", "left"), "up": ("high", "low")}[side]
    return _sized(abs(value), sigma, "mm", plus if value >= 0 else minus, digits_for(sigma, usual=1, most=1))


def said_window(contract: Mapping[str, Any]) -> Said:
    """The time on the string in ms."""
    value, sigma = contract.get("time_on_string_s"), contract.get("time_on_string_sigma_s")
    if value is None:
        return _UNKNOWN
    sigma_ms = None if sigma is None else sigma * 1e3
    return _sized(value * 1e3, sigma_ms, "ms", "", digits_for(sigma_ms, usual=1, most=2))


def sentence(contract: Mapping[str, Any]) -> str:
    """Which way the bow turned, and where most of it came from; the sizes stand in figures beside it."""
    at = contract["at_departure"]
    known = [axis for axis in ("yaw", "pitch") if at["rotation_deg"][axis] is not None]
    if not known:
        return "How far the bow turned is not known for this shot; the notes below say why."
    clear = [axis for axis in known if stands_clear(at["rotation_deg"][axis], at["rotation_sigma_deg"][axis])]
    if not clear:
        return "With the arrow on the string the bow turned less than can be told from no turn at all."
    ways = " and ".join(axis_direction(axis, at["rotation_deg"][axis]) for axis in clear)
    told = [f"The bow turned {ways} with the arrow on the string"]
    whys = [(axis, _mostly(at, axis)) for axis in clear]
    if len(whys) == 2 and whys[0][1] == whys[1][1]:
        told.append(f": {whys[0][1]}.")
    else:
        told.append(
            f": {'; '.join(f'{_SAID_OF[axis]}, {why}' for axis, why in whys)}."
            if len(whys) == 2
            else f": {whys[0][1]}."
        )
    return "".join(told)


def stands_clear(value: float, sigma: float | None) -> bool:
    """Whether a figure is over twice its standard uncertainty; one of unknown uncertainty is taken as it stands."""
    return sigma is None or abs(value) > 2 * sigma


_SAID_OF: Final = {"yaw": "sideways", "pitch": "in height"}
_WHYS: Final = {
    "carried_in": "it was turning already at the release",
    "struck": "a knock at the release set it off",
    "pressed": "a steady push in the hand did it",
}


def _mostly(at: Mapping[str, Any], axis: str) -> str:
    """Which part rules the turn about an axis."""
    whole = at["rotation_deg"][axis]
    parts = {name: at["parts_deg"][name][axis] for name in _WHYS}
    if any(part is None for part in parts.values()):
        return "where it came from is not known"
    name, part = max(parts.items(), key=lambda item: item[1] / whole)
    return _WHYS[name] if part / whole >= _SHARE_THAT_RULES else "from more than one source"


def flag_mark(verdict: str) -> tuple[str, str]:
    """A mark with a shape of its own, and its words."""
    return _MARKS.get(verdict, ("•", verdict.replace("_", " ")))


def flag_marks(flags: Sequence[Mapping[str, Any]]) -> str:
    """The marks of a shot's flags for a narrow column, each kind once, in order of weight."""
    verdicts = {flag["verdict"] for flag in flags}
    return " ".join(mark for verdict, (mark, _) in _MARKS.items() if verdict in verdicts)


def zone_of(name: str | None) -> tzinfo:
    """The zone that the browser named; UTC where it named none that is known here."""
    try:
        return ZoneInfo(name) if name else UTC
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def clock_time(unix_s: float, zone: tzinfo) -> str:
    return datetime.fromtimestamp(unix_s, zone).strftime("%H:%M:%S")


_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def is_day(text: str) -> bool:
    """Whether it is a day as the store has them, "2026-11-25"; an address can say anything."""
    try:
        return datetime.fromisoformat(text).date().isoformat() == text
    except ValueError:
        return False


def day_in_words(day: str) -> str:
    """ "25 Nov 2026" from the store's "2026-11-25"."""
    year, month, of_month = day.split("-")
    return f"{int(of_month)} {_MONTHS[int(month) - 1]} {year}"


def day_words(unix_s: float, zone: tzinfo) -> str:
    """ "Wed 25 Nov 2026", by the names of days and months that do not change with the machine's language."""
    moment = datetime.fromtimestamp(unix_s, zone)
    days = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    return f"{days[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"
