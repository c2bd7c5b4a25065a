"""The table of chosen shots side by side, and their measures as CSV. Pure; rows are text that is ready to be shown."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from quiethand_dashboard.telling import digits_for, said_axis, said_shift

__all__ = ["Row", "csv_text", "rows"]


@dataclass(frozen=True)
class Quantity:
    """One line: its words, the column of the store, of its uncertainty, its unit and factor, and how it is said."""

    words: str
    name: str
    sigma: str | None
    unit: str
    factor: float = 1.0
    axis: str | None = None  # signs in the words of this axis
    side: str | None = None  # or of this side of the target


def _by_axis(words: str, name: str, unit: str, unit_words: str, *, sigma: bool = True) -> list[Quantity]:
    return [
        Quantity(
            f"{words}, {axis}",
            f"{name}_{axis}_{unit}",
            f"{name}_sigma_{axis}_{unit}" if sigma else None,
            unit_words,
            axis=axis,
        )
        for axis in ("yaw", "pitch", "cant")
    ]


QUANTITIES: Final = (
    Quantity("Time on the string", "time_on_string_s", "time_on_string_sigma_s", "ms", 1e3),
    Quantity("Sideways at the target", "pointing_right_mm", "pointing_right_sigma_mm", "mm", side="right"),
    Quantity("Height at the target", "pointing_up_mm", "pointing_up_sigma_mm", "mm", side="up"),
    *_by_axis("Rotation at departure", "rotation", "deg", "deg"),
    *_by_axis("Carried in", "carried_in", "deg", "deg"),
    *_by_axis("Struck", "struck", "deg", "deg"),
    *_by_axis("Pressed", "pressed", "deg", "deg"),
    *_by_axis("Mean torque", "mean_torque", "nm", "N m"),
    *_by_axis("Rate at departure", "rate", "deg_s", "deg/s"),
    Quantity("Hold", "hold_duration_s", None, "s"),
    *_by_axis("Tremor, rms", "tremor_rms", "deg_s", "deg/s", sigma=False),
)
_UNSIGNED: Final = ("tremor_rms",)


@dataclass(frozen=True)
class Row:
    words: str
    cells: tuple[str, ...]  # one for each shot
    difference: str  # B less A, "" where there are not exactly two


def rows(shots: Sequence[Mapping[str, float | None]]) -> list[Row]:
    """A row for each quantity that any of the shots has; with exactly two shots also B less A.

    Args:
        shots: measures by the store's names, A first. The uncertainty of a difference is the root of the sum of
            squares: two shots' errors are taken as independent, though bias and delay are partly common to both, so
            that it is rather too wide than too narrow.
    """
    found = []
    for quantity in QUANTITIES:
        values = [_value(shot, quantity.name, quantity.factor) for shot in shots]
        if all(value is None for value in values):
            continue
        sigmas = [_value(shot, quantity.sigma, quantity.factor) if quantity.sigma else None for shot in shots]
        cells = tuple(_cell(quantity, v, s) for v, s in zip(values, sigmas, strict=True))
        found.append(Row(quantity.words, cells, _difference(quantity, values, sigmas)))
    return found


def _value(shot: Mapping[str, float | None], name: str | None, factor: float) -> float | None:
    value = shot.get(name) if name else None
    return None if value is None or not math.isfinite(value) else value * factor


def _cell(quantity: Quantity, value: float | None, sigma: float | None) -> str:
    if value is None:
        return "–"
    if quantity.side:
        said = said_shift(quantity.side, value, sigma)
        return f"{said.text} {said.sigma}".strip()
    if quantity.axis and not quantity.name.startswith(_UNSIGNED):
        said = said_axis(quantity.axis, value, sigma, quantity.unit)
        return f"{said.text} {said.sigma}".strip()
    return _plain(value, sigma, quantity.unit)


def _plain(value: float, sigma: float | None, unit: str, *, sign: str = "") -> str:
    digits = digits_for(sigma, usual=2)
    spread = "" if sigma is None else f" ± {sigma:.{digits}f}"
    return f"{value:{sign}.{digits}f}{spread} {unit}".replace("-", "−")


def _difference(quantity: Quantity, values: Sequence[float | None], sigmas: Sequence[float | None]) -> str:
    if len(values) != 2 or values[0] is None or values[1] is None:
        return ""
    sigma = math.hypot(sigmas[0], sigmas[1]) if sigmas[0] is not None and sigmas[1] is not None else None
    change = values[1] - values[0]
    if quantity.side or (quantity.axis and not quantity.name.startswith(_UNSIGNED)):
        return _cell(quantity, change, sigma)
    return _plain(change, sigma, quantity.unit, sign="+")


def csv_text(labels: Sequence[str], shots: Sequence[Mapping[str, Any]], names: Sequence[str]) -> str:
    """Every measure of the chosen shots as the store has it, one line a shot; a label that a spreadsheet could take for
    a formula is put in quotes that make it text."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["shot", *names])
    for label, shot in zip(labels, shots, strict=True):
        safe = "'" + label if label[:1] in "=+-@\t\r" else label
        writer.writerow([safe, *("" if shot.get(n) is None else repr(shot[n]) for n in names)])
    return out.getvalue()
