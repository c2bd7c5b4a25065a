"""Every scalar measure of a shot by the name of its column: what can be stored, queried, exported and compared.

A name is measure, axis and unit, as in `rotation_yaw_deg`; the standard uncertainty of a measure is a measure of its
own with `_sigma` before the axis, as in `rotation_sigma_yaw_deg`. All come from the one table of measures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

from quiethand.axes import AXIS_NAMES
from quiethand.shots.measures_table import MEASURES_TABLE
from quiethand.shots.model import Shot

__all__ = ["MEASURES", "Measure", "measures_of"]


@dataclass(frozen=True)
class Measure:
    name: str
    unit: str
    sigma: str | None  # the name of its standard uncertainty, where one is kept
    get: Callable[[Shot], float | None]


def _all() -> Iterator[Measure]:
    """Single figures first, then those of three axes: the order of the columns."""
    for row in sorted(MEASURES_TABLE.values(), key=lambda row: row.by_axis):
        for axis in AXIS_NAMES if row.by_axis else (None,):
            sigma = row.column(axis, sigma=True) if row.sigma_field else None
            yield Measure(row.column(axis), row.unit_in_names, sigma, partial(row.of, axis=axis))
            if sigma is not None:
                yield Measure(sigma, row.unit_in_names, None, partial(row.of, axis=axis, sigma=True))


MEASURES: Final[Mapping[str, Measure]] = {measure.name: measure for measure in _all()}


def measures_of(shot: Shot) -> dict[str, float | None]:
    """Every measure of `shot` by its column's name; None where it is not known."""
    return {name: measure.get(shot) for name, measure in MEASURES.items()}
