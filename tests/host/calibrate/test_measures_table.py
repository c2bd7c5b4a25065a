"""One table of measures: it covers what the contract shows, the store keeps and limits bound, and agrees with them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from quiethand.axes import AXIS_NAMES, Axes
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.commands.analyse import flat
from quiethand.errors import InputError
from quiethand.shots.contract import shot_object
from quiethand.shots.measures_table import MEASURES_TABLE, measure_named, short_names
from quiethand.shots.model import AtDeparture, FollowThrough, Hold, PointingShift, RotationAt, Shot, Window
from quiethand.store.measures import MEASURES

SHOT = Shot(
    number=1, segment=0, release_s=1.0, release_sigma_s=1e-4, departure_s=1.015, departure_sigma_s=1e-4,
    departure_from="shock", time_on_string_s=0.015, time_on_string_sigma_s=1e-4, rest_clear_s=1.017,
    at_departure=AtDeparture(rotation_deg=Axes(0.1, 0.2, 0.3), pointing=PointingShift(1.0, 2.0, 0.1, 0.2)),
    budget=(), after_release=(RotationAt(5.0, Axes()),), window=Window(), hold=Hold(), follow_through=FollowThrough(),
    flags=(), notes=(),
)  # fmt: skip
# What is no measure: names, lists, edges on an input, and rotation on the way: the same measure at other times.
NO_MEASURE = {"events", "number", "departure_from", "budget", "after_release", "flags", "notes"}
UNIT_IN_LIMITS = {"s": "ms"}


def leaves(value: object, path: str = "") -> Iterator[str]:
    if isinstance(value, dict) and set(value) != set(AXIS_NAMES):
        for key, inner in value.items():
            yield from leaves(inner, f"{path}.{key}" if path else str(key))
    else:
        yield path


def test_every_figure_of_the_contract_stands_in_the_table() -> None:
    document: dict[str, Any] = {k: v for k, v in shot_object(SHOT).items() if k not in NO_MEASURE}
    shown = {path for path in leaves(document) if "sigma" not in path}
    assert shown == {row.json for row in MEASURES_TABLE.values()}


def test_every_stated_uncertainty_is_known_to_the_table() -> None:
    document: dict[str, Any] = {k: v for k, v in shot_object(SHOT).items() if k not in NO_MEASURE}
    stated = [path for path in leaves(document) if "sigma" in path]
    assert len(stated) == sum(row.sigma_field is not None for row in MEASURES_TABLE.values())


def test_every_row_is_filled() -> None:
    for row in MEASURES_TABLE.values():
        assert row.label
        assert row.definition
        assert row.method
        assert row.sensors
        assert row.definition[0].islower()
        for axis in AXIS_NAMES if row.by_axis else (None,):
            row.of(SHOT, axis)
            row.of(SHOT, axis, sigma=True)


def test_values_come_from_where_the_table_says() -> None:
    assert MEASURES_TABLE["rotation"].of(SHOT, "yaw") == 0.3
    assert MEASURES_TABLE["pointing_up"].of(SHOT) == 2.0
    assert MEASURES_TABLE["pointing_up"].of(SHOT, sigma=True) == 0.2
    assert MEASURES_TABLE["release"].of(SHOT, sigma=True) == 1e-4
    assert MEASURES_TABLE["rest_clear"].of(SHOT, sigma=True) is None


def test_the_stores_columns_are_the_tables() -> None:
    columns = {row.column(axis) for row in MEASURES_TABLE.values() for axis in (AXIS_NAMES if row.by_axis else (None,))}
    assert columns == {name for name in MEASURES if "_sigma" not in name}


def test_limits_bound_measures_of_the_table_in_its_unit() -> None:
    for name, limit in LIMIT_MEASURES.items():
        if name == "pointing_shift":  # the length of right and up together
            assert limit.unit == MEASURES_TABLE["pointing_right"].unit
            continue
        row, _ = measure_named(name.replace("pointing_shift_", "pointing_"))
        assert limit.unit == UNIT_IN_LIMITS.get(row.unit, row.unit), name


@pytest.mark.parametrize("name", list(short_names()))
def test_a_figure_is_found_by_each_of_its_names(name: str) -> None:
    row, axis = measure_named(name)
    assert measure_named(row.column(axis)) == (row, axis)
    assert measure_named(row.json if axis is None else f"{row.json}.{axis}") == (row, axis)
    assert measure_named(name.upper().replace("_", "-")) == (row, axis)


def test_the_names_of_csv_are_understood() -> None:
    row = flat({k: v for k, v in shot_object(SHOT).items() if k not in NO_MEASURE})
    for name in row:
        if "sigma" not in name:
            measure_named(name)


@pytest.mark.parametrize(
    ("name", "says"),
    [("rotatio_yaw", 'did you mean "rotation_yaw"'), ("rotation", "rotation_cant, rotation_pitch, rotation_yaw"),
     ("torque", "did you mean"), ("", "known are"), ("xyzzy", "known are")],
)  # fmt: skip
def test_other_names_are_refused(name: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        measure_named(name)
