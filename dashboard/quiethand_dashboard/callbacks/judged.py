"""Flags as of now: a stored shot against the limits that hold for its archer and bow on its day.

A limit can be set after a shot was measured, so that the flags stored with it may not be what its day's limits say.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from quiethand.axes import AXIS_NAMES
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.judge.limits import Measured, judge_values, limits_in_force, pointing_size
from quiethand.store.measures import MEASURES

from quiethand_dashboard.callbacks.fetched import setup_of

if TYPE_CHECKING:
    from quiethand.store.records import ShotRecord
    from quiethand.store.store import Store

__all__ = ["JUDGED_COLUMNS", "Judge"]

_POINTING: Final = ("pointing_right_mm", "pointing_up_mm", "pointing_right_sigma_mm", "pointing_up_sigma_mm")


def _columns() -> Iterator[tuple[str, str, float]]:
    """A limit's measure, the store's column and the factor to the unit that the limit is in."""
    yield "pointing_shift_right", "pointing_right_mm", 1.0
    yield "pointing_shift_up", "pointing_up_mm", 1.0
    yield "time_on_string", "time_on_string_s", 1e3
    for name in LIMIT_MEASURES:
        if name.endswith(AXIS_NAMES):
            yield name, next(column for column in MEASURES if column.startswith(name + "_")), 1.0


_COLUMNS: Final = tuple(_columns())
JUDGED_COLUMNS: Final = tuple(
    dict.fromkeys([*_POINTING, *(c for _, column, _ in _COLUMNS for c in (column, MEASURES[column].sigma) if c)])
)


class Judge:
    """Judges many shots of a page's one answer; what is looked up for one serves the others."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._any_typed = bool(store.limit_history(limit=1))
        self._limits: dict[tuple[str, str, str, int], dict[str, tuple[float, str]]] = {}

    def limits(self, archer: str, bow: str, day: str, setup_id: int) -> dict[str, tuple[float, str]]:
        """Value and unit of every limit on a shot."""
        key = (archer, bow, day, setup_id)
        if key not in self._limits:
            typed = self._store.limits(archer, bow, day) if self._any_typed else {}
            later = {name: (one.value, one.unit) for name, one in typed.items() if one.value is not None}
            self._limits[key] = limits_in_force(setup_of(self._store, setup_id), later)
        return self._limits[key]

    def flags(self, shot: ShotRecord) -> list[dict[str, Any]]:
        """In the contract's form; what was found unusual when it was measured stays."""
        limits = self.limits(shot.archer, shot.bow, shot.day, shot.setup_id)
        return self._flags(limits, shot.measures, shot.flags)

    def row_flags(self, row: Mapping[str, Any]) -> list[dict[str, Any]]:
        """The same for a row of the store's table that has `JUDGED_COLUMNS`."""
        return self._flags(self.limits(row["archer"], row["bow"], row["day"], row["setup_id"]), row, row["flags"])

    def _flags(
        self,
        limits: Mapping[str, tuple[float, str]],
        values: Mapping[str, Any],
        stored: Sequence[Mapping[str, Any]],
    ) -> list[dict[str, Any]]:
        found = [dataclasses.asdict(flag) for flag in judge_values(_measured(values, limits), limits)]
        return [*found, *(dict(flag) for flag in stored if flag["verdict"] == "unusual")]


def _measured(values: Mapping[str, Any], limits: Mapping[str, Any]) -> Iterator[Measured]:
    if any(name.startswith("pointing_shift") for name in limits):
        right, up, right_sigma, up_sigma = (values.get(column) for column in _POINTING)
        if right is not None and up is not None:
            yield pointing_size(right, up, right_sigma, up_sigma)
            yield Measured("pointing_shift_right", right, right_sigma)
            yield Measured("pointing_shift_up", up, up_sigma)
    for name, column, factor in _COLUMNS:
        value = values.get(column)
        if name in limits and value is not None and not name.startswith("pointing_shift"):
            sigma = values.get(MEASURES[column].sigma or "")
            yield Measured(name, value * factor, None if sigma is None else sigma * factor)
