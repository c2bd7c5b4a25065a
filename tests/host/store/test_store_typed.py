"""What people type comes back, can be taken back, is never lost with the database, and never overwrites a figure."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from host.store.store_shots import DAY_0_UNIX_S, add, recording, shot
from quiethand.errors import InputError
from quiethand.store import NewImpact, ShotFilter, Store, open_store


def six(store: Store) -> list[int]:
    recording_id = recording(store)
    ids = [add(store, recording_id, shot(n)) for n in range(1, 7)]
    return [i for i in ids if i is not None]


def typed_by_a_coach(store: Store, ids: list[int]) -> None:
    """A bit of everything, some of it taken back."""
    store.add_tag(ids[:3], "wind")
    store.remove_tag(ids[1:2], "wind")
    store.add_remark(ids[0], "elbow high")
    store.remove_remark(store.add_remark(ids[0], "mistyped"))
    store.call_shot(ids[0], right_mm=-20.0, up_mm=5.0, word="left")
    store.call_shot(ids[1], word="good")
    store.call_shot(ids[1])
    store.correct(ids[2], "release_s", 90.002)
    store.correct(ids[2], "release_s", 90.003, remark="from a camera")
    store.correct(ids[2], "departure_s", 90.02)
    store.correct(ids[2], "departure_s", None)
    store.exclude(ids[3:5], "another's arrow")
    store.include_again(ids[4:5])
    free, joined, moved, gone = store.add_impacts(
        [
            NewImpact(5.0, -3.0, archer="Lane 4", unix_s=DAY_0_UNIX_S),
            NewImpact(1.0, 2.0, shot_id=ids[0], diameter_mm=9.3, source="tapped"),
            NewImpact(7.0, 7.0, shot_id=ids[1]),
            NewImpact(8.0, 8.0, shot_id=ids[2]),
        ]
    )
    store.join_impact(free, ids[4])
    store.join_impact(moved, ids[5])
    store.remove_impact(gone)
    store.join_impact(joined, None)
    store.join_impact(joined, ids[0])
    store.set_limit("pointing_shift", 20.0)
    store.set_limit("pointing_shift", 12.0, archer="Lane 4", from_day="2026-11-20")
    store.set_limit("time_on_string", 18.0, bow="Compound", from_day="2026-01-01")
    store.add_setup_version("Lane 4", "Compound", {"bow": {"mass": "2.6 kg"}}, from_day="2026-11-01")
    store.name_sensor("00AA", "the blue one")
    store.add_calibration("still", {"sensor": {"gyro_bias": [0, 0, 1]}}, sensor_uid="00aa", from_day="2026-11-01")


def all_typed(store: Store) -> str:
    """Everything typed, without the ids of rows."""
    numbers = {row["id"]: row["number"] for row in store.shot_rows()}
    found = {
        "marks": {numbers[i]: repr(marks) for i, marks in store.marks(list(numbers)).items()},
        "corrections": {number: len(store.corrections(i)) for i, number in numbers.items()},
        "exclusions": {n: [(e.reason, e.lifted_unix_s) for e in store.exclusions(i)] for i, n in numbers.items()},
        "impacts": [(i.right_mm, numbers.get(i.shot_id or 0), i.day) for i in store.impacts()],
        "limits": repr(store.limit_history()),
        "in force": repr(store.limits("Lane 4", "Compound", "2026-12-01")),
        "setups": [(v.document, v.from_day) for v in store.setup_versions()],
        "sensors": repr(store.sensors()),
        "calibrations": repr(store.calibrations(sensor_uid="00AA")),
        "tags": store.tags(),
    }
    return re.sub(r"\b((?:shot_|setup_)?id)=\d+", r"\1=*", json.dumps(found, indent=1, sort_keys=True))


def test_marks_come_back_and_are_taken_back(store: Store) -> None:
    ids = six(store)
    before = store.shot(ids[2])
    typed_by_a_coach(store, ids)
    marks = store.marks(ids)
    assert marks[ids[0]].tags == ("wind",)
    assert [r.text for r in marks[ids[0]].remarks] == ["elbow high"]
    call = marks[ids[0]].call
    assert call is not None
    assert (call.right_mm, call.up_mm, call.word) == (-20.0, 5.0, "left")
    assert marks[ids[1]].call is None
    assert marks[ids[1]].tags == ()
    assert marks[ids[2]].corrected == {"release_s": 90.003}
    assert [(c.measure, c.value) for c in store.corrections(ids[2])] == [
        ("departure_s", None), ("departure_s", 90.02), ("release_s", 90.003), ("release_s", 90.002),
    ]  # fmt: skip
    assert marks[ids[3]].exclusion is not None
    assert marks[ids[4]].exclusion is None
    lifted = store.exclusions(ids[4])[0]
    assert lifted.lifted_unix_s is not None
    assert lifted.lifted_unix_s >= lifted.unix_s
    after = store.shot(ids[2])
    assert before is not None
    assert after is not None
    assert after.measures == before.measures  # a correction stands beside the figure, never over it


def test_impacts_take_from_their_shot_what_is_left_out(store: Store) -> None:
    ids = six(store)
    typed_by_a_coach(store, ids)
    assert [(i.right_mm, i.shot_id) for i in store.impacts()] == [(7.0, ids[5]), (1.0, ids[0]), (5.0, ids[4])]
    joined = store.impacts()[1]
    one = store.shot(ids[0])
    assert one is not None
    assert (joined.archer, joined.unix_s, joined.source, joined.diameter_mm) == ("Lane 4", one.unix_s, "tapped", 9.3)
    assert store.impacts(free=True) == []
    assert len(store.impacts(ShotFilter(archer="Lane 4", bow="Compound", excluded=False))) == 3
    assert store.impacts(ShotFilter(tag="wind")) == [joined]
    with pytest.raises(InputError, match="has an impact already"):
        store.add_impact(NewImpact(0, 0, shot_id=ids[0]))
    with pytest.raises(InputError, match="no place on a target"):
        store.add_impact(NewImpact(float("nan"), 0))


def test_shots_are_found_by_what_was_typed(store: Store) -> None:
    ids = six(store)
    typed_by_a_coach(store, ids)

    def found(**wanted: object) -> list[int]:
        return sorted(row["id"] for row in store.shot_rows(ShotFilter(**wanted)))  # type: ignore[arg-type]

    assert found(tag="wind") == [ids[0], ids[2]]
    assert found(excluded=True) == [ids[3]]
    assert found(excluded=False) == ids[:3] + ids[4:]
    assert found(called=True) == [ids[0]]
    assert found(hit=True) == [ids[0], ids[4], ids[5]]
    assert found(flagged=True) == ids
    day = store.shot_rows()[0]["day"]
    assert found(day_from=day, day_to=day) == ids
    assert found(day_from="2999-01-01") == []
    assert store.stale_count() == 0


def test_limits_are_the_nearest_of_their_day(store: Store) -> None:
    typed_by_a_coach(store, six(store))
    today = "2999-01-01"
    assert {m: li.value for m, li in store.limits("Lane 4", "Compound", today).items()} == {
        "pointing_shift": 12.0, "time_on_string": 18.0,
    }  # fmt: skip
    assert {m: li.value for m, li in store.limits("Lane 5", "Recurve", today).items()} == {"pointing_shift": 20.0}
    store.set_limit("pointing_shift", None, archer="Lane 4", from_day="2026-11-25")
    assert "pointing_shift" not in store.limits("Lane 4", "Compound", today)
    assert store.limits("Lane 4", "Compound", "2026-11-24")["pointing_shift"].value == 12.0


@pytest.mark.parametrize(
    "senseless",
    [
        lambda s, i: s.add_tag([i, 999_999], "wind"),
        lambda s, i: s.add_tag([i], "  "),
        lambda s, i: s.add_tag([i], "two\nlines"),
        lambda s, i: s.add_remark(i, "x" * 2001),
        lambda s, i: s.call_shot(i, right_mm=3.0),
        lambda s, i: s.correct(i, "rest_clear_s", 1.0),
        lambda s, i: s.correct(i, "release_s", float("inf")),
        lambda s, i: s.exclude([i], ""),
        lambda s, i: s.join_impact(77, i),
        lambda s, i: s.set_limit("beauty", 3.0),
        lambda s, i: s.set_limit("pointing_shift", -3.0),
        lambda s, i: s.set_limit("pointing_shift", 3.0, from_day="yesterday"),
        lambda s, i: s.add_setup_version("a", "b", {"x": float("nan")}),
    ],
)
def test_what_makes_no_sense_is_refused_and_changes_nothing(store: Store, senseless: object) -> None:
    ids = six(store)
    token, typed = store.change_token(), all_typed(store)
    with pytest.raises(InputError) as refused:
        senseless(store, ids[0])  # type: ignore[operator]
    assert "\n" not in str(refused.value)
    assert (store.change_token(), all_typed(store)) == (token, typed)


def test_the_database_deleted_and_built_again_has_all_that_was_typed(sqlite_url: str, tmp_path: Path) -> None:
    store = open_store(sqlite_url)
    typed_by_a_coach(store, six(store))
    before = all_typed(store)
    store.close()
    (tmp_path / "shots.sqlite3").unlink()
    again = open_store(sqlite_url)
    assert again.shot_count() == 0
    assert len(again.impacts(free=True)) == 3  # not lost while their shots are not there yet
    six(again)
    assert all_typed(again) == before
    again.close()


def test_a_recording_that_goes_and_comes_back_has_its_marks_again(store: Store) -> None:
    typed_by_a_coach(store, six(store))
    before = all_typed(store)
    with store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM recordings")
    assert all_typed(store) != before
    six(store)
    assert all_typed(store) == before
