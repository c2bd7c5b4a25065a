"""Shots as a table that a person reads in a terminal."""

from __future__ import annotations

import shutil
import sys
from typing import TYPE_CHECKING

from rich.console import Console, JustifyMethod
from rich.table import Table
from rich.text import Text

from quiethand.axes import AXIS_NAMES
from quiethand.words import NOT_KNOWN, axis_words, shift_words, with_sigma

if TYPE_CHECKING:
    from collections.abc import Callable

    from quiethand.analysis import Report
    from quiethand.shots.model import Shot

__all__ = ["print_report"]

_WIDTH_WHEN_PIPED = 150
_WIDTH_FOR_ALL = 145
_WIDTH_FOR_TABLE = 112
_PARTS = (("carried in", "carried_in_deg"), ("struck", "struck_deg"), ("pressed", "pressed_deg"))


def _console() -> Console:
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else _WIDTH_WHEN_PIPED
    return Console(width=width, highlight=False)


def _plus_minus(words: str, sigma: float | None, digits: int) -> str:
    """ "4.1 mm left" and its sigma as "4.1 ± 0.3 mm left"."""
    if sigma is None or words == NOT_KNOWN:
        return words
    size, rest = words.split(" ", 1)
    return f"{size} ± {sigma:.{digits}f} {rest}"


def _where_from(shot: Shot) -> str:
    """The largest part about the axis that turned most, or "" where no part is known."""
    largest: tuple[float, str] | None = None
    for label, field in _PARTS:
        for axis, value in zip(AXIS_NAMES, getattr(shot.at_departure.parts, field), strict=True):
            if value is not None and (largest is None or abs(value) > largest[0]):
                largest = abs(value), f"{axis_words(axis, value)} {label}"
    return largest[1] if largest else NOT_KNOWN


def _judged(shot: Shot) -> Text:
    if shot.flags:
        return Text("\n".join(flag.text for flag in shot.flags), style="bold")
    return Text("within limits" if shot.at_departure.pointing.right_mm is not None else "no target stated")


def _turns(shot: Shot) -> str:
    at = shot.at_departure
    return "\n".join(
        f"{axis:<5} {_plus_minus(axis_words(axis, value), sigma, 3)}"
        for axis, value, sigma in zip(AXIS_NAMES, at.rotation_deg, at.rotation_sigma_deg, strict=True)
    )


def _at_target(shot: Shot) -> str:
    pointing = shot.at_departure.pointing
    return "\n".join(
        _plus_minus(shift_words(side, value), sigma, 1)
        for side, value, sigma in (
            ("right", pointing.right_mm, pointing.right_sigma_mm),
            ("up", pointing.up_mm, pointing.up_sigma_mm),
        )
    )


def _on_the_string(shot: Shot) -> str:
    if shot.time_on_string_s is None:
        return NOT_KNOWN
    sigma = shot.time_on_string_sigma_s
    return f"{with_sigma(shot.time_on_string_s * 1e3, None if sigma is None else sigma * 1e3, 2)} ms"


def _shots_table(report: Report, width: int) -> Table:
    """One row of three lines a shot; on a narrow terminal what can be read elsewhere is left out."""
    columns: list[tuple[str, JustifyMethod, bool, Callable[[Shot], str | Text]]] = [
        ("shot", "right", True, lambda shot: str(shot.number)),
        ("released", "right", True, lambda shot: f"{_moment_s(shot):.3f} s"),
        ("on the string", "right", True, _on_the_string),
        ("turned when the arrow left", "left", True, _turns),
        ("carried to the target", "left", True, _at_target),
        ("most of it", "left", False, _where_from),
        ("judged", "left", False, _judged),
    ]
    if width < _WIDTH_FOR_ALL:
        columns = [column for column in columns if column[0] != "most of it"]
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for heading, justify, keep_whole, _ in columns:
        table.add_column(heading, justify=justify, no_wrap=keep_whole, overflow="fold")
    for shot in report.shots:
        table.add_row(*(cell(shot) for *_, cell in columns))
    return table


def _print_narrow(console: Console, shot: Shot) -> None:
    """A few lines for each shot where a table has no room."""
    console.print(f"shot {shot.number} at {_moment_s(shot):.3f} s, {_on_the_string(shot)} on the string")
    for line in (*_turns(shot).splitlines(), *(f"      {line}" for line in _at_target(shot).splitlines())):
        console.print(f"  {line}")
    console.print(Text("  ") + _judged(shot))


def _moment_s(shot: Shot) -> float:
    return shot.departure_s if shot.release_s is None else shot.release_s


def _budget_table(shot: Shot) -> Table:
    table = Table(
        title=f"shot {shot.number}: what the uncertainty of the rotation is made of (standard uncertainties, mdeg)",
        title_justify="left", title_style="", box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim",
    )  # fmt: skip
    table.add_column("source")
    table.add_column("kind")
    for axis in AXIS_NAMES:
        table.add_column(axis, justify="right")
    for row in shot.budget:
        table.add_row(row.source, row.kind, *("-" if v is None else f"{abs(v) * 1e3:.3f}" for v in row.deg))
    whole = shot.at_departure.rotation_sigma_deg
    table.add_row("all together", "", *("-" if v is None else f"{v * 1e3:.3f}" for v in whole), style="bold")
    return table


def _count(number: int | None, word: str) -> str:
    if number is None:
        return f"{word}: not counted"
    return f"{number:,} {word}" if number else f"none {word}"


def print_report(report: Report, *, budget: bool = False) -> None:
    """Print one recording's shots, what was rejected and why, and what a reader must know."""
    console = _console()
    facts = report.facts
    console.print(Text(report.name, style="bold"))
    rate = f"{facts.rate_hz:,.0f} Hz, " if facts.rate_hz else ""
    console.print(
        f"{rate}{facts.duration_s:.1f} s, {facts.samples:,} samples, {_count(facts.lost_samples, 'lost')}, "
        f"{_count(facts.clipped_samples, 'clipped')}, {facts.bad_frames or 'no'} bad frames"
    )
    if report.shots:
        console.print()
        if console.width < _WIDTH_FOR_TABLE:
            for shot in report.shots:
                _print_narrow(console, shot)
        else:
            console.print(_shots_table(report, console.width))
        notes = dict.fromkeys(note for shot in report.shots for note in shot.notes)
        for note in notes:
            numbers = [str(shot.number) for shot in report.shots if note in shot.notes]
            which = "every shot" if len(numbers) == len(report.shots) else "shot " + ", ".join(numbers)
            console.print(Text(f"note ({which}): {note}", style="dim"))
    else:
        console.print("no shot in it")
    for note in report.notes:
        console.print(Text(f"note: {note}", style="dim"))
    if report.rejected:
        console.print()
        console.print("not shots")
        table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
        for rejected in report.rejected:
            table.add_row(f"{rejected.time_s:9.3f} s", rejected.reason.replace("_", " "), Text(rejected.text))
        console.print(table)
    if budget:
        for shot in report.shots:
            console.print()
            console.print(_budget_table(shot))
    for caution in report.cautions:
        console.print()
        console.print(Text(f"Caution: {caution}", style="bold"))
