"""What people say about shots, and limits set afterwards: from the page's functions into the store and back."""

from __future__ import annotations

import json
from datetime import UTC

import numpy as np
import pytest
from invented_league import EVENING, add, document, recording, shot
from quiethand.errors import InputError
from quiethand.store.store import Store
from quiethand_dashboard.callbacks import compare, latest
from quiethand_dashboard.callbacks import shot as shot_page
from quiethand_dashboard.callbacks.judged import JUDGED_COLUMNS, Judge
from quiethand_dashboard.callbacks.marks import mark, marks_view
from quiethand_dashboard.callbacks.trouble import ask, said


@pytest.fixture
def two(fresh: Store) -> list[int]:
    doc, rng = document(4, "Match arrow"), np.random.default_rng(3)
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    found = [add(fresh, to, shot(number, "Match arrow", rng), EVENING, doc) for number in (1, 2)]
    return [i for i in found if i is not None]


def text(component: object) -> str:
    return json.dumps(component, default=lambda c: c.to_plotly_json())


def test_each_button_of_the_marks_does_what_it_says(fresh: Store, two: list[int]) -> None:
    assert mark(fresh, two, "tag", ["windy", "new rest"], "", "") == "Tagged 2 shots: windy, new rest."
    mark(fresh, two[:1], "untag", ["windy"], "", "")
    mark(fresh, two[:1], "call", [], "low left", "")
    mark(fresh, two, "add", [], "", "the light was poor")
    mark(fresh, two[1:], "exclude", [], "", "a nock broke")
    marks = fresh.marks(two)
    assert marks[two[0]].tags == ("new rest",)
    assert marks[two[1]].tags == ("new rest", "windy")
    assert marks[two[0]].call is not None
    assert marks[two[1]].exclusion is not None
    said_of, tags = marks_view(fresh, two, UTC)
    assert all(word in text(said_of) for word in ("low left", "a nock broke", "the light was poor", "new rest"))
    assert tags == ["new rest", "windy"]
    noted = {int(row["id"]): row["noted"] for row in compare.grid_rows(fresh, UTC)}
    assert noted == {two[0]: "called, new rest", two[1]: "left out, new rest, windy"}
    mark(fresh, two[1:], "include", [], "", "")
    assert fresh.marks(two)[two[1]].exclusion is None
    # what is left out counts no more for what is usual, as the page says
    assert [one.shot_id for one in fresh.usual_inputs(two[1])] == two[:1]
    mark(fresh, two[:1], "exclude", [], "", "a nock broke")
    assert fresh.usual_inputs(two[1]) == []


@pytest.mark.parametrize(("what", "missing"), [("tag", "no tag"), ("exclude", "with a reason"), ("add", "remark")])
def test_an_empty_field_is_told_in_one_sentence(fresh: Store, two: list[int], what: str, missing: str) -> None:
    answer = ask(lambda: mark(fresh, two, what, [], "", " "))
    assert missing in answer.children.lower()
    assert answer.className == "refused"
    assert "\n" not in answer.children
    with pytest.raises(InputError, match="no shot is chosen"):
        mark(fresh, [], what, ["x"], "x", "x")


def test_what_went_wrong_names_no_path() -> None:
    error = InputError("the store can't be used", where="/home/somebody/shots.sqlite3", do="check the disk")
    assert said(error) == "The store can't be used; check the disk."


def test_an_instant_by_hand_stands_beside_the_computed(fresh: Store, two: list[int]) -> None:
    before = fresh.shot(two[0])
    assert before is not None
    computed = shot_page.instants_of(fresh, before)
    assert computed.departure == pytest.approx(14.6, abs=0.5)
    assert shot_page.keep_correction(fresh, two[0], 0.0, computed.departure + 0.4, "seen in the trace") == (
        "Kept: departure by hand, beside the computed."
    )
    after = fresh.shot(two[0])
    assert after is not None
    assert after.measures == before.measures
    moved = shot_page.instants_of(fresh, after)
    assert moved.departure == computed.departure
    assert moved.departure_set == pytest.approx(computed.departure + 0.4)
    view = shot_page.shot_view(fresh, two[0], "light", UTC)
    assert view.departure == pytest.approx(computed.departure + 0.4, abs=0.006)
    lines = [s for s in view.acceleration["layout"]["shapes"] if s["editable"]]
    assert [line["x0"] for line in lines] == [0.0, moved.departure_set]
    assert shot_page.withdraw(fresh, two[0]).startswith("Withdrawn")
    assert shot_page.instants_of(fresh, after).departure_set is None
    assert [c.value is None for c in fresh.corrections(two[0])] == [True, False]


@pytest.mark.parametrize(("release", "departure"), [(None, 14.0), (0.0, None), (5.0, 5.0), (0.0, 200.0), (-80.0, 10.0)])
def test_instants_that_no_arrow_has_are_refused(
    fresh: Store, two: list[int], release: float | None, departure: float | None
) -> None:
    with pytest.raises(InputError):
        shot_page.keep_correction(fresh, two[0], release, departure, "")
    assert fresh.corrections(two[0]) == []


def test_the_turn_between_instants_is_that_of_the_trace(fresh: Store, two: list[int]) -> None:
    found = fresh.shot(two[0])
    assert found is not None
    assert found.trace is not None
    window_ms = found.measures["time_on_string_s"] * 1e3
    ms = found.trace.gyro_ms
    departure = float(ms[int(np.searchsorted(ms, window_ms))])  # the sample whose rotation the invented shot states
    words = shot_page.words_on_instants(found, 0.0, departure)
    first, second = words.split("The turn between them: ")[1].removesuffix(".").split("; computed: ")
    assert first == second
    assert "after the release" in shot_page.words_on_instants(found, 3.0, 3.0)


def test_flags_follow_a_limit_that_is_changed(fresh: Store, two: list[int]) -> None:
    def flagged() -> tuple[str, list[str]]:
        rows = compare.grid_rows(fresh, UTC)
        return text(latest.latest_text(fresh, two[0], UTC).flags), [row["flagged"] for row in rows]

    assert flagged()[1] == ["no", "no"]
    fresh.set_limit("rotation_pitch", 0.001, archer="Lane 4", bow="Winter bow", from_day="2026-01-01")
    words, rows = flagged()
    assert "over the limit of 0.001 deg" in words or "too close to tell from the limit of 0.001 deg" in words
    assert "no" not in rows
    fresh.set_limit("rotation_pitch", 0.001, from_day="2030-01-01")  # a later day's limit is not this day's
    fresh.set_limit("rotation_pitch", None, archer="Lane 4", bow="Winter bow", from_day="2026-02-01")
    assert flagged()[1] == ["no", "no"]


def test_judged_now_is_judged_as_when_measured(store: Store) -> None:
    judge = Judge(store)
    for row in store.shot_rows(limit=40, measures=JUDGED_COLUMNS):
        # the invented shots' own flags judge each side by itself; what is over by itself is over together
        over_then = {f["measure"] for f in row["flags"] if f["verdict"] == "over"}
        over_now = {f["measure"] for f in judge.row_flags(row) if f["verdict"] == "over"}
        assert not over_then or over_now
