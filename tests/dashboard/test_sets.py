"""Comparing sets: the address and back, what is left out, what is said, and figures of bounded size."""

from __future__ import annotations

import json

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st
from quiethand.store.store import Store
from quiethand_dashboard.callbacks import sets
from quiethand_dashboard.callbacks.judged import Judge
from quiethand_dashboard.chosen_sets import FIELDS, address_of, chosen, csv_text
from quiethand_dashboard.figures.sets import summary

ARROWS = "?a.archer=Lane+4&a.arrow=Match+arrow&b.archer=Lane+4&b.arrow=Heavy+practice+arrow"
FREE = st.fixed_dictionaries(
    {},
    optional={
        **{name: st.text(min_size=1, max_size=40) for name in FIELDS if name in ("archer", "bow", "arrow", "tag")},
        **{name: st.dates().map(str) for name in ("day_from", "day_to")},
    },
)


@given(a=FREE, b=FREE, flagged=st.sampled_from([None, "yes", "no"]))
def test_the_address_keeps_both_sets(a: dict[str, str], b: dict[str, str], flagged: str | None) -> None:
    a = a | ({"flagged": flagged} if flagged else {})
    found = chosen(address_of(a, b), ())
    assert (found.a, found.b) == (a, b)


@pytest.mark.parametrize(
    "search", ["", "?a.archer=../../etc/passwd&b.tag=%3Cscript%3E", "?a.day_from=yesterday", "?=&&"]
)
def test_any_address_is_answered(store: Store, search: str) -> None:
    view = sets.sets_view(store, search)
    assert view.empty_hidden is True
    assert "passwd" not in json.dumps(view, default=lambda c: c.to_plotly_json())
    sets.sets_figures(store, search, "light")


def test_it_opens_with_two_sets_worth_a_look(store: Store, fresh: Store) -> None:
    view = sets.sets_view(store, None)
    assert view.counts_a.startswith("16 shots")
    assert view.counts_b.startswith("16 shots")
    assert sets.sets_view(fresh, None).empty_hidden is False


def said(view: sets.SetsView) -> str:
    return " ".join(p.children for p in view.words)


def test_a_heavier_arrow_is_told_apart_by_its_time_and_the_smallest_difference_is_said(store: Store) -> None:
    view = sets.sets_view(store, ARROWS)
    assert "8 of 10" in said(view)
    assert "Time on the string: B lies 2.6" in said(view)  # 17.2 less 14.6 ms, as the league was made
    _, _, found, _ = sets.compared(store, chosen(ARROWS, ()))
    by_name = {c.measure: c for c in found}
    assert by_name["time_on_string_s"].shown
    assert not by_name["hold_duration_s"].shown
    assert by_name["time_on_string_s"].low < 2.6 < by_name["time_on_string_s"].high
    assert by_name["rotation_cant_deg"].target is None
    assert len(csv_text(found).splitlines()) == len(found) + 1


def test_few_shots_are_said_to_be_too_few(store: Store) -> None:
    view = sets.sets_view(store, ARROWS + "&a.tag=nobody")
    assert "0 and 16 shots" in said(view)
    assert "No shot fits" in view.counts_a
    sets.sets_figures(store, ARROWS + "&a.tag=nobody", "dark")


def test_what_is_left_out_is_not_compared_and_said(fresh: Store) -> None:
    from invented_league import league

    league(fresh, evenings=1, shots=6)
    before, _, _, _ = sets.compared(fresh, chosen(ARROWS, ()))
    fresh.exclude([before[0]["id"]], "a nock broke")
    after, _, _, _ = sets.compared(fresh, chosen(ARROWS, ()))
    assert [row["id"] for row in after] == [row["id"] for row in before[1:]]
    assert "someone excluded" in said(sets.sets_view(fresh, ARROWS))


def test_flagged_follows_limits_set_afterwards(fresh: Store) -> None:
    from invented_league import league

    league(fresh, evenings=1, shots=6)
    none = chosen("?a.flagged=yes&b.flagged=no", ())
    judge = Judge(fresh)
    assert (len(sets.rows_of(fresh, none, "a", judge)), len(sets.rows_of(fresh, none, "b", judge))) == (0, 24)
    fresh.set_limit("time_on_string", 16.0, from_day="2020-01-01")
    slow = sets.rows_of(fresh, none, "a", Judge(fresh))
    assert {row["arrow"] for row in slow} == {"Heavy practice arrow"}
    assert len(slow) == 12


def test_figures_are_sound_and_bounded(store: Store) -> None:
    for figure in sets.sets_figures(store, ARROWS, "light"):
        go.Figure(figure)
        assert len(json.dumps(figure)) < 200_000


def test_a_sets_middle_is_the_median_of_its_traces(store: Store) -> None:
    traces = list(store.traces([s.id for s in store.latest_shots(5)]).values())
    ms = np.arange(-5.0, 20.0, 1.0)
    drawn = summary("A", ms, traces, 12.0)
    assert drawn.ms[-1] == 12.0
    by_hand = np.median([np.interp(drawn.ms, t.gyro_ms, t.rotation_deg[:, 2]) for t in traces], axis=0)
    np.testing.assert_allclose(drawn.middle["rotation_deg"][:, 2], by_hand)
    assert summary("A", ms, traces[:2], None).middle == {}
