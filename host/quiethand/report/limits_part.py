"""The span's shots against the limits in force, counted: over, too close to tell, within."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final

from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.judge.limits import Measured, judge_values, limits_in_force, pointing_size
from quiethand.report.gathered import Row, ShotSet
from quiethand.report.said import plural
from quiethand.shots.measure_columns import MEASURES

__all__ = ["limit_words"]

# A limit's measure, the store's column and the factor to the unit that the limit is in. Others are not in a report.
_COLUMNS: Final = {
    "pointing_shift_right": ("pointing_right_mm", 1.0),
    "pointing_shift_up": ("pointing_up_mm", 1.0),
    "time_on_string": ("time_on_string_s", 1e3),
    **{f"rotation_{axis}": (f"rotation_{axis}_deg", 1.0) for axis in ("cant", "pitch", "yaw")},
    **{f"mean_torque_{axis}": (f"mean_torque_{axis}_nm", 1.0) for axis in ("pitch", "yaw")},
}


def limit_words(one: ShotSet, stated_later: Mapping[str, tuple[float, str]]) -> list[str]:
    """A sentence for each limit that a report can judge."""
    limits = limits_in_force(one.setup, stated_later)
    counts: dict[str, Counter[str]] = {name: Counter() for name in limits}
    for row in one.rows:
        measured = {value.measure: value for value in _measured(row)}
        flags = {flag.measure: flag.verdict for flag in judge_values(measured.values(), limits)}
        for name in limits:
            if name in measured:
                counts[name][flags.get(name, "within")] += 1
    said = []
    for name, (limit, unit) in limits.items():
        judged = sum(counts[name].values())
        if judged:
            over, close = counts[name]["over"], counts[name]["too_close_to_tell"]
            said.append(
                f"Limit of {limit:g} {unit}, {LIMIT_MEASURES[name].text}: of {plural(judged, 'shot')} {over} over, "
                f"{close} too close to tell, {judged - over - close} within."
            )
    return said


def _measured(row: Row) -> Iterator[Measured]:
    right, up = row["pointing_right_mm"], row["pointing_up_mm"]
    if right is not None and up is not None:
        yield pointing_size(right, up, row["pointing_right_sigma_mm"], row["pointing_up_sigma_mm"])
    for name, (column, factor) in _COLUMNS.items():
        value, sigma = row[column], row[MEASURES[column].sigma or column]
        if value is not None:
            yield Measured(name, value * factor, None if sigma is None else sigma * factor)
