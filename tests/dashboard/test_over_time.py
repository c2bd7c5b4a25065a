"""Over time without a browser: what is charted, what is said of it, and what an address can do."""

from __future__ import annotations

import csv
import io
from datetime import UTC
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest
from dash import no_update
from invented_league import EVENING, add, document, recording, shot
from quiethand.store.measures import MEASURES
from quiethand.store.store import Store
from quiethand_dashboard import ids
from quiethand_dashboard.callbacks import over_time
from quiethand_dashboard.charted import MEASURES_SHOWN, Point, chart, setup_changes, words
from quiethand_dashboard.figures.control import MOST_CHANGES, control_figure

SIDEWAYS = MEASURES_SHOWN["pointing_right_mm"]


def noise() -> np.random.Generator:
    return np.random.default_rng(7)


def points(values: Any, setups: Any = None) -> list[Point]:
    chosen = [1] * len(values) if setups is None else setups
    return [Point(86400.0 * i, "2026-11-25", f"shot {i}", float(v), s) for i, (v, s) in
            enumerate(zip(values, chosen, strict=True), start=1)]  # fmt: skip


def told(values: Any) -> str:
    return " ".join(words(chart(points(values), SIDEWAYS, "shot")))


def test_every_measure_shown_is_one_that_is_stored() -> None:
    assert set(MEASURES_SHOWN) <= set(MEASURES)


def test_a_steady_archer_is_not_told_of_changes() -> None:
    said = told(noise().normal(5.0, 1.0, 40))
    assert "on average 4." in said or "on average 5." in said
    assert "None of the 40 shots lies outside" in said
    assert "no lasting change shows" in said
    assert "smaller than this scatter" in said


def test_a_lasting_change_is_told_with_its_way_and_no_cause() -> None:
    values = noise().normal(0.0, 1.0, 40)
    values[22:] -= 3
    said = told(values)
    assert "further left" in said
    assert "the chart can't say" in said


def test_one_stray_at_the_end_is_no_lasting_change() -> None:
    values = noise().normal(0.0, 1.0, 30)
    values[-1] = 9
    assert "will tell whether that lasts" in told(values)
    assert "1 of 30 shots lies outside: shot 30 of 25 Nov 2026" in told(values)


@pytest.mark.parametrize(("count", "said"), [(0, "No shot of these"), (1, "1 shot so far"), (9, "9 shots so far")])
def test_few_points_get_no_limits(count: int, said: str) -> None:
    charted = chart(points(np.arange(count)), SIDEWAYS, "shot")
    assert charted.alone is None
    assert said in " ".join(words(charted))


def test_the_figure_has_both_panels_limits_and_changes() -> None:
    charted = chart(points(noise().normal(size=40), [1] * 15 + [2] * 25), SIDEWAYS, "shot")
    assert charted.changes == (15,)
    for scheme in ("light", "dark"):
        figure = control_figure(charted, scheme, keep="x")  # type: ignore[arg-type]
        go.Figure(figure)
        assert sum(t["mode"] == "lines+markers" for t in figure["data"]) == 2
        assert sum(t["mode"] == "lines" for t in figure["data"]) == 4
    assert any("<b>1</b>" in a["text"] for a in figure["layout"]["annotations"])
    many = chart(points(noise().normal(size=80), [i % 2 for i in range(80)]), SIDEWAYS, "shot")
    numbered = [a for a in control_figure(many, "light", keep="")["layout"]["annotations"] if "<b>" in a["text"]]
    assert len(numbered) == MOST_CHANGES + 2  # and the two headings


def test_the_changes_of_a_set_up_in_words() -> None:
    old = {"bow": {"name": "x", "mass": "2.6 kg"}, "arrow": {"mass": "24 g"}, "sensor": {"gyro_bias": [1, 2, 3]}}
    new = {"bow": {"name": "x", "mass": "2.8 kg"}, "arrow": {"mass": "26 g"}, "sensor": {"gyro_bias": [1, 2, 4]}}
    assert setup_changes(old, new) == [
        "arrow mass 26 g, before 24 g", "bow mass 2.8 kg, before 2.6 kg", "the sensor's calibration or place",
    ]  # fmt: skip
    assert setup_changes(old, old) == []
    assert "not known" in setup_changes(None, new)[0]
    assert len(setup_changes({}, {"bow": {str(i): i for i in range(30)}})) == 5


def test_by_day_a_point_is_the_days_mean(store: Store) -> None:
    choice = over_time.chosen("?archer=Lane+4&bow=Winter+bow&arrow=Match+arrow&by=day", store.shooters())
    assert choice is not None
    charted = over_time.charted_for(store, choice)
    assert [p.shots for p in charted.points] == [8, 8]
    of_day = store.latest_shots(200, archer="Lane 4", arrow="Match arrow", day=charted.points[0].day)
    assert charted.points[0].value == pytest.approx(np.mean([s.measures["pointing_right_mm"] for s in of_day]))


def test_the_view_follows_the_address(store: Store) -> None:
    view = over_time.over_view(store, "?measure=time_on_string_s", "light", UTC)
    assert (view.empty_hidden, view.body_hidden) == (True, False)
    assert " ms" in str(view.words)
    go.Figure(view.figure)
    assert "same throughout" in str(view.changes)


def test_nothing_stored_says_what_to_do(fresh: Store) -> None:
    view = over_time.over_view(fresh, None, "light", UTC)
    assert (view.empty_hidden, view.body_hidden) == (False, True)
    assert over_time.follow(None, None, (None, None, None), []) == (no_update,) * 4


def test_a_change_of_set_up_is_listed(fresh: Store) -> None:
    for lead, doc in enumerate((document(4, "Match arrow"), document(4, "Match arrow", inertia=False))):
        to = recording(fresh, 4, "Match arrow", EVENING + 1e5 * lead, doc)
        for number in range(1, 4):
            add(fresh, to, shot(number, "Match arrow", noise()), EVENING + 1e5 * lead, doc)
    view = over_time.over_view(fresh, None, "light", UTC)
    assert "bow inertia cant not stated, before 0.12 kg m^2" in str(view.changes)


@pytest.mark.parametrize(
    "search",
    [None, "", "?measure=__class__", "?measure=contract&by=year", "?archer=<script>&bow=&arrow=", "?" + "a" * 9999,
     "?archer=../../etc&bow=x&arrow=y&measure=id"],
)  # fmt: skip
def test_an_address_that_names_nothing_gives_who_shot_last(store: Store, search: str | None) -> None:
    choice = over_time.chosen(search, store.shooters())
    newest = store.latest_shots(1)[0]
    assert choice == over_time.Chosen(newest.archer, newest.bow, newest.arrow, "pointing_right_mm", "shot")


def test_address_and_controls_follow_each_other(store: Store) -> None:
    shooters = store.shooters()
    search = over_time.address_of(over_time.who("Lane 7", "Winter bow", "Match arrow"), "pointing_up_mm", "day")
    choice = over_time.chosen(search, shooters)
    assert choice is not None
    controls = (choice.who, "pointing_up_mm", "day")
    assert over_time.follow(ids.OVER_URL, search, (None, None, None), shooters) == (no_update, *controls)
    assert over_time.follow(ids.OVER_URL, search, controls, shooters) == (no_update,) * 4
    assert over_time.follow(ids.OVER_BY, search, controls, shooters) == (no_update,) * 4
    moved = over_time.follow(ids.OVER_BY, search, (choice.who, "pointing_up_mm", "shot"), shooters)
    assert moved[0].endswith("by=shot")
    assert moved[1:] == (no_update,) * 3


def test_the_points_as_csv(store: Store) -> None:
    choice = over_time.chosen("", store.shooters())
    assert choice is not None
    charted = over_time.charted_for(store, choice)
    rows = list(csv.DictReader(io.StringIO(over_time.csv_text(charted))))
    assert [float(r["value_mm"]) for r in rows] == [p.value for p in charted.points]
    assert all(r["smoothed_mm"] for r in rows)
