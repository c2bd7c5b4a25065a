"""Callbacks' bodies without an app: what is fetched, drawn and returned."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest
from dash import no_update
from dash.development.base_component import Component
from invented_league import EVENING, add, document, recording, shot
from quiethand.bow.cautions import DRY_FIRE
from quiethand.live_status import LiveStatus
from quiethand.shots.model import Rejected
from quiethand.store.store import Store
from quiethand_dashboard import ids
from quiethand_dashboard.callbacks import compare, latest, launch, shell
from quiethand_dashboard.callbacks.fetched import setup_of, unusual
from quiethand_dashboard.callbacks.judged import Judge


def words(component: Any) -> str:
    """All text of a component, as it would be read."""
    if component is None or isinstance(component, str | int | float):
        return str(component or "")
    if isinstance(component, Component):
        return words(getattr(component, "children", None))
    return " ".join(words(child) for child in component)


def links(component: Any) -> Iterator[str]:
    if isinstance(component, Component):
        if hasattr(component, "href"):
            yield component.href
        yield from links(getattr(component, "children", None))
    elif isinstance(component, list | tuple):
        for child in component:
            yield from links(child)


def test_the_newest_shot_is_shown(store: Store) -> None:
    view = latest.latest_text(store, None, UTC)
    newest = store.latest_shots(1)[0]
    assert (view.empty_hidden, view.body_hidden) == (True, False)
    assert f"Shot {newest.number}" in words(view.head)
    assert "Lane 4" in words(view.head)
    assert "newest" not in words(view.head)
    assert "the arrow on the string" in view.sentence
    figures = " ".join(words(view.figures).split())
    assert f"{1e3 * (newest.measures['time_on_string_s'] or 0):.2f} ms" in figures
    assert "at 18 m" in figures
    assert "limit 20 mm" in figures
    assert len(list(links(view.recent))) == latest.DOZEN
    assert view.shown == {"shot": newest.id, "last": newest.id}


def test_the_figures_of_a_shot(store: Store) -> None:
    drawn = latest.latest_figures(store, store.latest_shots(1)[0].id, "dark")
    assert drawn is not None
    assert "Grey band" in drawn.band
    for figure in drawn[1:]:
        go.Figure(figure)
        assert len(figure["data"]) > 0
    assert latest.latest_figures(store, 10**9, "light") is None


def test_a_chosen_shot_stays_and_the_way_back_is_there(store: Store) -> None:
    older = store.latest_shots(5)[-1]
    view = latest.latest_text(store, older.id, UTC)
    assert f"Shot {older.number}" in words(view.head)
    assert "/" in list(links(view.head))


def test_a_shot_from_before_the_dozen_is_in_its_list(store: Store) -> None:
    first = store.latest_shots(200)[-1]
    view = latest.latest_text(store, first.id, UTC)
    assert f"/?shot={first.id}" in list(links(view.recent))


def test_an_unknown_shot_gives_the_newest(store: Store) -> None:
    assert "Back to the newest" not in words(latest.latest_text(store, 10**12, UTC).head)


def test_an_empty_store_says_what_to_do(fresh: Store) -> None:
    view = latest.latest_text(fresh, None, UTC)
    assert (view.empty_hidden, view.body_hidden) == (False, True)


@pytest.mark.parametrize(
    ("search", "expected"),
    [("?shot=12", 12), ("", None), (None, None), ("?shot=-1", None), ("?shot=1e3", None), ("?shot=../../x", None),
     ("?shot=" + "9" * 400, None), ("?shot=٣", None), ("?shot=<script>", None), ("?other=1", None)],
)  # fmt: skip
def test_the_address_of_a_shot(search: str | None, expected: int | None) -> None:
    assert latest.pinned_shot(search) == expected


def test_what_came_after_the_last_shot_is_told(fresh: Store) -> None:
    doc = document(4, "Match arrow")
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    add(fresh, to, shot(1, "Match arrow", np.random.default_rng(0)), EVENING, doc)
    assert "not counted" not in words(latest.latest_text(fresh, None, UTC).head)
    fresh.add_rejected(to, [Rejected(400.0, "dry_fire", "far too short")], started_unix_s=EVENING)
    view = latest.latest_text(fresh, None, UTC)
    assert "not counted as a shot, dry fire. far too short" in " ".join(words(view.head).split())
    assert DRY_FIRE in words(view.flags)


def test_no_usual_is_claimed_from_few_shots(fresh: Store) -> None:
    doc = document(4, "Match arrow", inertia=False)
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    rng = np.random.default_rng(0)
    for number in (1, 2, 3):
        add(fresh, to, shot(number, "Match arrow", rng, inertia=False), EVENING, doc)
    view = latest.latest_text(fresh, None, UTC)
    assert view.shown is not None
    drawn = latest.latest_figures(fresh, view.shown["shot"], "light")
    assert drawn is not None
    assert "appears after some more shots" in drawn.band
    assert "unusual" not in words(view.flags)
    assert "no inertia" in words(view.notes)


def test_a_shot_out_of_the_usual_is_flagged(fresh: Store) -> None:
    doc = document(4, "Match arrow")
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    rng = np.random.default_rng(0)
    for number in range(1, 21):
        add(fresh, to, shot(number, "Match arrow", rng), EVENING, doc)
    last = add(fresh, to, shot(21, "Match arrow", rng, fault=1.2), EVENING, doc)
    assert last is not None
    view = latest.latest_text(fresh, None, UTC)
    assert "yaw" in words(view.flags)
    assert "usually" in words(view.flags)
    assert "over the limit" in words(view.flags).lower()
    drawn = latest.latest_figures(fresh, last, "light")
    assert drawn is not None
    assert max(t["line"]["width"] for t in drawn.yaw["data"]) > 4  # and drawn thick where it leaves the band
    usual = fresh.shot(last - 1)
    assert usual is not None
    assert unusual(usual, fresh.usual_inputs(usual.id)) == []


def test_a_steady_drift_is_not_called_unusual(fresh: Store) -> None:
    doc, rng = document(4, "Match arrow"), np.random.default_rng(0)
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    for number in range(1, 51):
        last = add(fresh, to, shot(number, "Match arrow", rng, fault=0.04 * number), EVENING, doc)
    assert last is not None
    newest = fresh.shot(last)
    assert newest is not None
    earlier = fresh.usual_inputs(last)
    assert unusual(newest, earlier) == []
    assert [one["measure"] for one in unusual(newest, earlier[::-1])] == ["rotation_yaw_deg"]  # the order counts


def test_limit_and_distance_come_from_the_shots_own_setup(store: Store) -> None:
    newest = store.latest_shots(1)[0]
    setup = setup_of(store, newest.setup_id)
    assert setup is not None
    assert setup.target.distance_m == 18.0
    limits = Judge(store).limits(newest.archer, newest.bow, newest.day, newest.setup_id)
    assert limits == {"pointing_shift": (20.0, "mm")}  # World Archery: the ten of the 40 cm face is 4 cm across


def test_a_pulse_without_change_updates_nothing(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path))  # where no sensor was ever live
    token, header, notice = shell.pulse(store, None, None, 0.0)
    assert header == "No sensor yet"
    assert notice == []
    assert shell.pulse(store, token, header, 0.0) == (no_update, no_update, no_update)


def test_a_pulse_after_a_shot_gives_another_token(fresh: Store) -> None:
    before, header, _ = shell.pulse(fresh, None, None, 0.0)
    doc = document(4, "Match arrow")
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    add(fresh, to, shot(1, "Match arrow", np.random.default_rng(0)), EVENING, doc)
    after, same, _ = shell.pulse(fresh, before, header, 0.0)
    assert after not in (before, no_update)
    assert same is no_update


def status(**changes: Any) -> LiveStatus:
    values = {"state": "recording", "port": "socket://x", "rate_hz": 1000.0, "samples": 90_000}
    return LiveStatus(**(values | {"last_sample_unix_s": 99.9} | changes))


@pytest.mark.parametrize(
    ("changes", "header", "notice"),
    [
        ({}, "1000 samples/s", ""),
        ({"last_sample_unix_s": 88.0}, "Silent for 12 s", "Check battery and cable"),
        ({"lost_samples": 9000}, "1000 samples/s, 9.1 % lost", "The link is lossy"),
        ({"lost_samples": 10}, "1000 samples/s", ""),
        ({"state": "link_lost"}, "Link lost", "Check cable and power"),
        ({"state": "waiting", "last_sample_unix_s": None}, "Waiting for the sensor", "Is the sensor switched on?"),
        ({"state": "stopped"}, "Not recording", ""),
    ],
)
def test_how_the_sensor_is_doing(changes: dict[str, Any], header: str, notice: str) -> None:
    said, sentence = shell.sensor_words(status(**changes), 100.0)
    assert said == header
    assert notice in sentence
    assert bool(notice) == bool(sentence)


def test_pages_by_address() -> None:
    layouts = {"/": lambda: "latest", "/bow": lambda: "bow"}
    assert shell.page_for("/bow/", layouts) == "bow"
    assert shell.page_for(None, layouts) == "latest"
    assert "no page here" in words(shell.page_for("/../secret", layouts))


def test_a_comparison_of_two(store: Store) -> None:
    a, b = (s.id for s in store.latest_shots(2))
    view = compare.compare_view(store, [a, b], "light", UTC)
    assert not view.body_hidden
    assert "B less A" in words(view.table)
    assert "Grey band" in words(view.excess)
    go.Figure(view.yaw)
    names = {t["name"] for t in view.yaw["data"]}
    assert {n[0] for n in names if n[1:2] == ","} == {"A", "B"}


def test_shots_of_another_arrow_are_not_held_against_as_usual(store: Store) -> None:
    heavy = store.latest_shots(1, arrow="Heavy practice arrow", archer="Lane 4")[0]
    match = store.latest_shots(1, arrow="Match arrow", archer="Lane 4")[0]
    view = compare.compare_view(store, [heavy.id, match.id], "light", UTC)
    assert "not held against A's usual" in words(view.excess)


def test_a_shot_that_is_gone_is_told(store: Store) -> None:
    known = store.latest_shots(1)[0].id
    view = compare.compare_view(store, [known, 10**9], "light", UTC)
    assert "1 of the shots in this address are no longer stored" in words(view.chosen)
    assert compare.compare_view(store, [10**9], "light", UTC).body_hidden


@pytest.mark.parametrize(
    ("search", "expected"),
    [("?shots=3,8", [3, 8]), ("?shots=8,3,8", [8, 3]), ("?shots=" + ",".join(map(str, range(99))), [0, 1, 2, 3, 4, 5]),
     ("?shots=a,3,<b>,-4,;drop", [3]), ("?shots=", []), (None, []), ("?shots=" + "1" * 9999, [])],
)  # fmt: skip
def test_the_address_of_a_comparison(search: str | None, expected: list[int]) -> None:
    assert compare.chosen_shots(search) == expected
    assert compare.chosen_shots(compare.address_of(expected)) == expected


def ticked(*shots: int) -> list[dict[str, Any]]:
    return [{"id": str(i)} for i in shots]


@pytest.mark.parametrize(
    ("moved", "ticks", "search", "expected"),
    [
        (ids.COMPARE_GRID, ticked(5, 9), "?shots=9", ("?shots=9,5", no_update)),  # who was first stays A
        (ids.COMPARE_GRID, ticked(9), "?shots=5,9", ("?shots=9", no_update)),
        (ids.COMPARE_GRID, [], "?shots=9", ("", no_update)),
        (ids.COMPARE_GRID, ticked(5, 9), "?shots=9,5", (no_update, no_update)),
        (ids.COMPARE_URL, ticked(5), "?shots=9,5", (no_update, {"ids": ["9", "5"]})),
        (ids.COMPARE_URL, None, "?shots=9", (no_update, {"ids": ["9"]})),
        (ids.COMPARE_GRID, ticked(*range(1, 8)), "?shots=1,2,3,4,5,6",
         ("?shots=1,2,3,4,5,6", {"ids": ["1", "2", "3", "4", "5", "6"]})),
    ],
)  # fmt: skip
def test_address_and_ticks_follow_each_other(moved: str, ticks: Any, search: str, expected: Any) -> None:
    assert compare.choice(moved, ticks, search, "/compare") == expected
    assert compare.choice(moved, ticks, search, "/bow") == (no_update, no_update)


def test_the_table_to_choose_from(store: Store) -> None:
    rows = compare.grid_rows(store, UTC)
    assert len(rows) == store.shot_count()
    assert {row["archer"] for row in rows} == {"Lane 4", "Lane 7"}
    assert len({row["id"] for row in rows}) == len(rows)


def test_bows_to_choose_from(store: Store) -> None:
    choices = launch.bow_choices(store)
    assert {c.label for c in choices.values()} == {"Winter bow, Lane 4", "Winter bow, Lane 7"}
    for choice in choices.values():
        assert [a.name for a in choice.arrows] == ["Match arrow", "Heavy practice arrow"]  # light to heavy
        assert choice.torque_nm == pytest.approx(0.05, abs=0.05)


def test_without_shots_the_bow_is_an_invented_one_and_said_so(fresh: Store) -> None:
    (choice,) = launch.bow_choices(fresh).values()
    view = launch.launch_view(choice, 0.025, 0.75, "light")
    assert "invented" in view.about
    go.Figure(view.curve)


def test_a_heavier_arrow_stays_longer(store: Store) -> None:
    choice = next(iter(launch.bow_choices(store).values()))
    light, heavy = (launch.launch_view(choice, m, 0.75, "light") for m in (0.024, 0.036))
    times = [float(words(v.figures[0]).split()[4]) for v in (light, heavy)]
    assert times[0] < times[1]
    assert "as set here" in words(heavy.arrows)
    assert "Match arrow" in words(light.arrows)


def test_an_arrow_too_light_is_cautioned_against(store: Store) -> None:
    choice = next(iter(launch.bow_choices(store).values()))
    # 50 lbf: 5 grains per pound (ASTM F1544-11) are 250 gr, 16.2 g
    assert "grains per pound" in words(launch.launch_view(choice, 0.0155, 0.75, "light").cautions)
    assert words(launch.launch_view(choice, 0.017, 0.75, "light").cautions) == ""


def test_sliders_next_to_the_set_ups_own_values_mean_them(store: Store) -> None:
    choice = next(iter(launch.bow_choices(store).values()))
    own = choice.setup.arrow.mass_kg
    assert own is not None
    mass_g = round(own * 1e3, 1)
    assert mass_g != own * 1e3
    assert launch.as_set(choice, mass_g, 75) == (own, None)
    assert launch.as_set(choice, mass_g + 0.1, 76) == (pytest.approx((mass_g + 0.1) / 1e3), 0.76)
    assert "stretched" not in launch.launch_view(choice, *launch.as_set(choice, mass_g, 75), "light").about


def test_what_was_not_counted_on_other_days_is_not_listed(fresh: Store) -> None:
    doc = document(4, "Match arrow")
    to = recording(fresh, 4, "Match arrow", EVENING, doc)
    add(fresh, to, shot(1, "Match arrow", np.random.default_rng(0)), EVENING, doc)
    fresh.add_rejected(to, [Rejected(-86400.0, "tap", "the day before"), Rejected(5.0, "tap", "today")],
                       started_unix_s=EVENING)  # fmt: skip
    told = words(latest.latest_text(fresh, None, UTC).rejected)
    assert "today" in told
    assert "the day before" not in told


def test_a_bow_that_holds_nothing_back_gets_a_sentence(store: Store) -> None:
    choice = next(iter(launch.bow_choices(store).values()))
    view = launch.launch_view(choice, 0.025, 1.0, "light")
    assert "let-off" in words(view.cautions)
    assert view.figures == []
