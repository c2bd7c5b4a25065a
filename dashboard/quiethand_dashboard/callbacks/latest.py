"""The latest shot, or the one that the address names, from the store to the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import parse_qs

from dash import Dash, Input, Output, State, no_update
from quiethand.bow.cautions import cautions_for
from quiethand.judge.usual import LEAST_SHOTS

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.fetched import MOST_EARLIER, day_start, setup_of, unusual, usual_band
from quiethand_dashboard.callbacks.judged import Judge
from quiethand_dashboard.callbacks.zoom import draw_keeping_zoom, fresh
from quiethand_dashboard.figures.excess import excess_spans
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.recent import RecentShot, recent_figure
from quiethand_dashboard.figures.sources import sources_figure
from quiethand_dashboard.figures.style import Figure, blank
from quiethand_dashboard.figures.traces import Band, DrawnShot, traces_figure
from quiethand_dashboard.pages import latest_parts
from quiethand_dashboard.pages.pieces import AXIS_ORDER

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.bow.model import Setup
    from quiethand.store.records import ShotRecord
    from quiethand.store.store import Store

__all__ = ["LatestFigures", "LatestText", "latest_figures", "latest_text", "pinned_shot", "register"]

DOZEN: Final = 12
REJECTED_SHOWN: Final = 5


class LatestText(NamedTuple):
    """What is read first, in the order of the outputs."""

    shown: dict[str, int] | None  # which shot the figures are of, and the last of its day's list
    empty_hidden: bool
    body_hidden: bool
    head: Any
    sentence: str
    figures: Any
    flags: Any
    notes: Any
    recent: Any
    rejected: Any
    budget: Any


class LatestFigures(NamedTuple):
    """What is drawn after it, in the order of the outputs."""

    band: str
    recent: Figure
    parts_yaw: Figure
    parts_pitch: Figure
    parts_cant: Figure
    yaw: Figure
    pitch: Figure
    cant: Figure


def pinned_shot(search: str | None) -> int | None:
    """The shot that the address asks for ("?shot=12"), or None: the newest."""
    values = parse_qs((search or "").lstrip("?")).get("shot", [])
    return int(values[0]) if values and values[0].isascii() and values[0].isdigit() and len(values[0]) < 16 else None


def latest_text(store: Store, pinned: int | None, zone: tzinfo) -> LatestText:
    """Words and large figures for the newest shot, or for `pinned` where it is stored: no trace is read but its own."""
    newest = store.latest_shots(1)
    shot = None
    if newest:
        shot = store.shot(newest[0].id if pinned is None else pinned) or store.shot(newest[0].id)
    found = store.rejected(REJECTED_SHOWN, since_unix_s=None if shot is None else day_start(shot.unix_s, zone))
    rejected = latest_parts.rejected(found, zone)
    if shot is None:
        return LatestText(None, False, True, [], "", [], [], [], [], rejected, [])
    setup, judge = setup_of(store, shot.setup_id), Judge(store)
    distance_m, limit_mm = _target(judge, shot, setup)
    marks = store.marks([shot.id])[shot.id]
    earlier = store.usual_inputs(shot.id, MOST_EARLIER, traces=False)
    day = _dozen(store, shot)
    return LatestText(
        {"shot": shot.id, "last": day[0].id if day else shot.id},
        True,
        False,
        [*latest_parts.head(shot, newest[0], marks, zone), *latest_parts.since(newest[0], found, zone)],
        telling.sentence(shot.contract),
        latest_parts.glance(shot.contract, distance_m, limit_mm),
        latest_parts.flags(
            [*judge.flags(shot), *unusual(shot, earlier)],
            cautions_for(setup, dry_fire=any(r.reason == "dry_fire" for r in found)),
            usual_known=len(earlier) >= LEAST_SHOTS,
            limit_known=limit_mm is not None,
        ),
        latest_parts.notes(shot),
        latest_parts.recent(day, {s.id: judge.flags(s) for s in day}, shot.id, zone),
        rejected,
        latest_parts.budget(shot.contract["budget"]),
    )


def latest_figures(store: Store, shot_id: int, scheme: Scheme) -> LatestFigures | None:
    """The figures of a shot; None where it is gone."""
    shot = store.shot(shot_id)
    if shot is None:
        return None
    band = usual_band(store.usual_inputs(shot.id, MOST_EARLIER))
    window = shot.contract.get("time_on_string_s")
    _, limit_mm = _target(Judge(store), shot, setup_of(store, shot.setup_id))
    return LatestFigures(
        latest_parts.band_words(band),
        recent_figure(_recent_shots(_dozen(store, shot), shot.id, limit_mm), scheme),
        *(sources_figure(shot.contract["at_departure"], axis, scheme) for axis in AXIS_ORDER),
        *_traces(shot, band, None if window is None else window * 1e3, scheme),
    )


def _target(judge: Judge, shot: ShotRecord, setup: Setup | None) -> tuple[float | None, float | None]:
    """Distance in m and the limit on the pointing shift in mm, where known."""
    limit = judge.limits(shot.archer, shot.bow, shot.day, shot.setup_id).get("pointing_shift")
    return (None if setup is None else setup.target.distance_m), (None if limit is None else limit[0])


def _dozen(store: Store, shot: ShotRecord) -> list[ShotRecord]:
    """The last dozen of the shot's day, or the dozen that ends with the shot where it is older."""
    last = store.latest_shots(DOZEN, day=shot.day)
    if any(s.id == shot.id for s in last):
        return last
    return store.latest_shots(DOZEN, day=shot.day, before=shot.unix_s + 1e-3)


def _traces(shot: ShotRecord, band: Band | None, window_ms: float | None, scheme: Scheme) -> list[Figure]:
    if shot.trace is None:
        return [blank(scheme, "The trace of this shot is not stored.")] * 3
    drawn = DrawnShot(f"shot {shot.number}", shot.trace, window_ms, excess_spans(shot.trace, window_ms, band))
    return [traces_figure(axis, [drawn], band, scheme, keep="latest") for axis in AXIS_ORDER]


def _recent_shots(shots: Sequence[ShotRecord], shown: int, limit_mm: float | None) -> list[RecentShot]:
    found = []
    for shot in reversed(shots):
        at = shot.contract["at_departure"]
        shift, sigma = at["pointing_shift_mm"], at["pointing_shift_sigma_mm"]
        found.append(
            RecentShot(
                str(shot.number), shift["right"], sigma["right"], shift["up"], sigma["up"], limit_mm, shot.id == shown
            )
        )
    return found


def register(app: Dash, store: Store) -> None:
    draw_keeping_zoom(app, [ids.trace_graph("latest", axis) for axis in AXIS_ORDER])

    @app.callback(
        Output(ids.LATEST_SHOWN, "data"),
        Output(ids.LATEST_EMPTY, "hidden"),
        Output(ids.LATEST_BODY, "hidden"),
        Output(ids.LATEST_HEAD, "children"),
        Output(ids.LATEST_SENTENCE, "children"),
        Output(ids.LATEST_FIGURES, "children"),
        Output(ids.LATEST_FLAGS, "children"),
        Output(ids.LATEST_NOTES, "children"),
        Output(ids.LATEST_RECENT, "children"),
        Output(ids.LATEST_REJECTED, "children"),
        Output(ids.LATEST_BUDGET, "children"),
        Input(ids.TOKEN, "data"),
        Input(ids.URL, "search"),
        Input(ids.ZONE, "data"),
        State(ids.LATEST_SHOWN, "data"),
    )
    def _text(_: Any, search: str | None, zone: str | None, shown: Any) -> Any:
        text = latest_text(store, pinned_shot(search), telling.zone_of(zone))
        return text._replace(shown=no_update) if text.shown == shown else text

    # After the words, not beside them: what is read first is not kept waiting by what is drawn.
    @app.callback(
        Output(ids.LATEST_BAND, "children"),
        Output(ids.LATEST_RECENT_FIGURE, "figure"),
        *(Output(ids.parts_graph(axis), "figure") for axis in AXIS_ORDER),
        *(fresh(ids.trace_graph("latest", axis)) for axis in AXIS_ORDER),
        Input(ids.LATEST_SHOWN, "data"),
        Input(ids.SCHEME_SHOWN, "data"),
        prevent_initial_call=True,
    )
    def _figures(shown: dict[str, int] | None, scheme: Scheme | None) -> Any:
        drawn = latest_figures(store, shown["shot"], scheme or "light") if shown else None
        return drawn or [no_update] * len(LatestFigures._fields)
