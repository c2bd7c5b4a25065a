"""A comparison in plain words that claim no more than the shots do."""

from __future__ import annotations

from quiethand.judge.comparison import Comparison, Detectable
from quiethand.words import axis_direction, shift_direction

__all__ = ["could_show_words", "excluded_words", "figure", "in_words"]

_DIGITS = {"mm": 1, "deg": 3, "ms": 2, "s": 4, "deg/s": 2, "N m": 3, "N m s": 5, "N m/rad": 1, "Hz": 0, "g": 2}


def figure(value: float, unit: str) -> str:
    """A size with its unit, no more digits than such a measure bears: "0.012 deg"."""
    return f"{value:.{_DIGITS.get(unit, 3)}f} {unit}".rstrip()


def could_show_words(found: Detectable, unit: str, *, paired: bool = False) -> str:
    """To be read before the comparison: the smallest difference that these shots could show."""
    who = f"{found.shots_a} pairs" if paired else f"{found.shots_a} and {found.shots_b} shots"
    known = found.smallest_mm is not None and unit != "mm"
    at = f" ({figure(found.smallest_mm or 0.0, 'mm')} at the target)" if known else ""
    return (
        f"These {who} scatter so that a true difference of {figure(found.smallest, unit)}{at} would be found in 8 of "
        "10 such comparisons; a smaller one may go unseen."
    )


def in_words(c: Comparison, *, name: str = "", axis: str | None = None) -> tuple[str, ...]:
    """What the comparison says, a sentence each: the finding, at the target, what it would take, serial correlation.

    Args:
        name: the measure's label, such as "rotation at departure".
        axis: "cant", "pitch", "yaw" of a signed turn, "right" or "up" of a shift; None: more and less.
    """
    head = f"{name or c.measure}: "
    way = _way(c.difference, axis)
    shots = f"{c.shots_a} pairs" if c.paired else f"{c.shots_a} and {c.shots_b} shots"
    between = f"95 % interval {_signed(c.low, c.unit, axis)} to {_signed(c.high, c.unit, axis)}"
    said = []
    if c.shown:
        said.append(
            f"{head}the second set lies {figure(abs(c.difference), c.unit)} further {way} ({between}; {_p(c)})."
        )
    else:
        size = figure(c.not_ruled_out, c.unit)
        if c.target is not None and c.unit != "mm":
            size += f" ({figure(c.not_ruled_out * abs(c.target.mm_per_unit), 'mm')} at the target)"
        said.append(
            f"{head}no difference is shown; with {shots} one of up to {size} cannot be ruled out ({between}; {_p(c)})."
        )
    if c.shown and c.target is not None and c.at_target_mm is not None and c.unit != "mm":
        mm, low, high = c.at_target_mm
        side = c.target.side
        said.append(
            f"At the target that turn alone would be {figure(abs(mm), 'mm')} {shift_direction(side, mm)} "
            f"({figure(abs(low), 'mm')} {shift_direction(side, low)} to {figure(abs(high), 'mm')} "
            f"{shift_direction(side, high)})."
        )
    if c.serial.noticed:
        said.append(
            f"Shots resemble the ones before them (correlation {c.serial.correlation:.2f}), so they count for fewer; "
            f"the interval is {c.serial.widen:.2f} times as wide for it."
        )
    if c.left_out:
        said.append(f"{c.left_out} shots that lack this measure are left out.")
    return tuple(said)


def excluded_words(a: int, b: int) -> str | None:
    """How many shots of either set a person has excluded; None where none."""
    if a == 0 and b == 0:
        return None
    return f"Left out because someone excluded them: {a} shots of the first set, {b} of the second."


def _p(c: Comparison) -> str:
    p = f"p {c.p_value:.3f}" if c.p_value >= 0.001 else "p under 0.001"
    if c.looked_at > 1:
        p += f", {c.p_adjusted:.3f} with {c.looked_at} measures looked at"
    return p


def _way(value: float, axis: str | None) -> str:
    if axis in ("right", "up"):
        return shift_direction(axis, value)
    if axis is not None:
        return axis_direction(axis, value)
    return "up the scale" if value >= 0 else "down the scale"


def _signed(value: float, unit: str, axis: str | None) -> str:
    if axis is None:
        return f"{'' if value < 0 else '+'}{figure(value, unit)}"
    return f"{figure(abs(value), unit)} {_way(value, axis)}"
