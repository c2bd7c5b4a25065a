"""The store gives back what was put in, once, in bounded answers."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator
from typing import Any, get_type_hints

import numpy as np
import pytest
from host.store.store_shots import DAY_0_UNIX_S, add, recording, shot
from quiethand.axes import Axes
from quiethand.errors import InputError
from quiethand.shots.contract import shot_object
from quiethand.shots.model import Rejected, Shot
from quiethand.store import MEASURES, RecordingFacts, ShotFilter, Store, measures_of
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError


def test_a_shot_comes_back_bit_for_bit(store: Store) -> None:
    one = shot(1)
    shot_id = add(store, recording(store), one)
    assert shot_id is not None
    back = store.shot(shot_id)
    assert back is not None
    assert back.trace is not None
    assert one.trace is not None
    for field in dataclasses.fields(one.trace):
        np.testing.assert_array_equal(getattr(back.trace, field.name), getattr(one.trace, field.name))
        assert getattr(back.trace, field.name).dtype == np.float32
    assert back.measures == measures_of(one)
    assert back.measures["rotation_yaw_deg"] == 0.1
    assert back.measures["rotation_pitch_deg"] is None
    assert back.measures["pointing_right_sigma_mm"] == 0.2
    assert back.contract == shot_object(one)
    assert back.notes == ("no rest stated",)
    assert back.flags[0]["verdict"] == "over"
    assert (back.archer, back.bow, back.arrow) == ("Lane 4", "Compound", "22 g")
    assert store.setup_document(back.setup_id) == {
        "archer": {"name": "Lane 4"}, "bow": {"name": "Compound"}, "arrow": {"name": "22 g"},
    }  # fmt: skip


def test_the_same_shot_twice_changes_nothing(store: Store) -> None:
    recording_id = recording(store)
    assert add(store, recording_id, shot(1)) is not None
    token = store.change_token()
    assert add(store, recording_id, shot(1, yaw_deg=9.0)) is None
    assert store.change_token() == token
    assert store.shot_count() == 1
    assert store.shot_rows()[0]["rotation_yaw_deg"] == 0.1


def test_a_recording_is_known_again_and_brought_up_to_date(store: Store) -> None:
    first = recording(store)
    again = store.put_recording(
        RecordingFacts("moved.qhr", "id:winter-1", DAY_0_UNIX_S, "clock", state="whole", sha256="ab" * 32)
    )
    assert again == first
    assert store.recording_by_sha256("ab" * 32) == first
    assert recording(store, "id:winter-2") != first


def test_rejected_movements_are_added_once(store: Store) -> None:
    recording_id = recording(store)
    movements = [Rejected(3.0, "tap", "a tap"), Rejected(5.0, "walk", "walking")]
    assert store.add_rejected(recording_id, movements, started_unix_s=DAY_0_UNIX_S) == 2
    assert store.add_rejected(recording_id, movements, started_unix_s=DAY_0_UNIX_S) == 0
    assert [r.reason for r in store.rejected(10)] == ["walk", "tap"]
    assert store.rejected(1)[0].unix_s == DAY_0_UNIX_S + 5.0


def test_filters_names_and_days(store: Store) -> None:
    recording_id = recording(store)
    for number in range(1, 9):
        slow = number % 2 == 0
        add(store, recording_id, shot(number), "Lane 4" if number < 7 else "Lane 5", arrow="33 g" if slow else "22 g")
    assert store.archers() == ["Lane 4", "Lane 5"]
    assert store.bows() == ["Compound"]
    assert store.arrows() == ["22 g", "33 g"]
    assert [s.number for s in store.latest_shots(3)] == [8, 7, 6]
    assert [s.number for s in store.latest_shots(9, archer="Lane 4", arrow="33 g")] == [6, 4, 2]
    assert [s.number for s in store.latest_shots(9, before=DAY_0_UNIX_S + 3 * 30.0)] == [2, 1]
    assert store.latest_shots(9, archer="nobody") == []
    assert store.days() == [store.shot_rows()[0]["day"]]
    assert store.latest_shots(9, day="1999-01-01") == []
    assert store.shot_count(ShotFilter(archer="Lane 5")) == 2
    row = store.shot_rows(ShotFilter(archer="Lane 5"), limit=1)[0]
    assert (row["archer"], row["number"], row["recording"]) == ("Lane 5", 8, "recordings/one.qhr")


def test_the_usual_is_made_of_earlier_shots_only(store: Store) -> None:
    recording_id = recording(store)
    ids = [add(store, recording_id, shot(n)) for n in range(1, 7)]
    other = add(store, recording_id, shot(7), arrow="33 g")
    assert ids[3] is not None
    assert other is not None
    earlier = store.usual_inputs(ids[3])
    assert [e.shot_id for e in earlier] == [ids[2], ids[1], ids[0]]
    assert earlier[0].trace is not None
    assert [e.shot_id for e in store.usual_inputs(ids[3], most=1)] == [ids[2]]
    assert store.usual_inputs(other) == []
    assert store.usual_inputs(10_000) == []


def test_answers_are_bounded(store: Store) -> None:
    recording_id = recording(store)
    for number in range(1, 213):
        add(store, recording_id, shot(number, with_trace=number < 80))
    assert len(store.latest_shots(10_000)) == 200
    assert len(store.traces(range(1, 213))) == 64
    assert len(store.shot_rows(limit=10**9)) == 212
    assert store.latest_shots(-1) == []


def test_a_shot_without_its_recording_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match=r"(?i)foreign key") as refused:
        add(store, 77, shot(1))
    assert isinstance(refused.value.__cause__, IntegrityError)
    assert store.shot_count() == 0
    assert store.archers() == []  # the whole transaction is undone


def test_a_recording_takes_its_shots_and_traces_with_it(store: Store) -> None:
    recording_id = recording(store)
    add(store, recording_id, shot(1))
    with store.engine.begin() as connection:
        connection.execute(text("DELETE FROM recordings"))
        assert connection.execute(text("SELECT count(*) FROM traces")).scalar() == 0
    assert store.shot_count() == 0


def _numbered(kind: type, counter: Iterator[int]) -> Any:
    """An instance of a dataclass of the shot model whose every figure is another number."""
    values: dict[str, Any] = {}
    hints = get_type_hints(kind)
    for field in dataclasses.fields(kind):
        hint = hints[field.name]
        if hint is Axes:
            values[field.name] = Axes(next(counter), next(counter), next(counter))
        elif dataclasses.is_dataclass(hint):
            values[field.name] = _numbered(hint, counter)  # type: ignore[arg-type]
        elif hint in (float, float | None):
            values[field.name] = float(next(counter))
    return kind(**{**_REST, **values} if kind is Shot else values)


_REST: dict[str, Any] = {
    "number": 0, "segment": 0, "departure_from": "shock", "budget": (), "after_release": (), "flags": (), "notes": (),
}  # fmt: skip


def test_no_figure_of_a_shot_is_left_out() -> None:
    counter = itertools.count(1)
    stored = measures_of(_numbered(Shot, counter))
    assert sorted(stored.values()) == list(range(1, next(counter)))  # type: ignore[type-var]
    assert all(measure.sigma is None or measure.sigma in MEASURES for measure in MEASURES.values())
