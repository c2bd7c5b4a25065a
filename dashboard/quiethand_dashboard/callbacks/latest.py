"""The latest shot, or the one that the address names, from the store to the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import parse_qs

from dash import Dash, Input, Output
from quiethand.bow.cautions import cautions_for

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.fetched import MOST_EARLIER, setup_of, target_of, unusual, usual_band
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

    from quiethand.store.records import ShotRecord
    from quiethand.store.store import Store

__all__ = ["LatestView", "latest_view", "pinned_shot", "register"]

DOZEN: Final = 12
REJECTED_SHOWN: Final = 5


class LatestView(NamedTuple):
    """What the page's callback returns, in the order of its outputs."""

    empty_hidden: bool
    body_hidden: bool
    head: Any
    sentence: str
    figures: Any
    flags: Any
    band: str
    notes: Any
    recent: Any
    recent_figure: Figure
    rejected: Any
    budget: Any
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


def latest_view(store: Store, pinned: int | None, scheme: Scheme, zone: tzinfo) -> LatestView:
    """Everything on the page for the newest shot, or for `pinned` where it is stored."""
    newest = store.latest_shots(1)
    found = store.rejected(REJECTED_SHOWN)
    rejected = latest_parts.rejected(found, zone)
    if not newest:
        nothing = blank(scheme, "")
        return LatestView(False, True, [], "", [], [], "", [], [], nothing, rejected, [], *[nothing] * 6)
    shown_id = newest[0].id if pinned is None else pinned
    shot = store.shot(shown_id) or store.shot(newest[0].id)
    assert shot is not None
    setup = setup_of(store, shot.setup_id)
    target = target_of(setup)
    earlier = store.usual_inputs(shot.id, MOST_EARLIER)
    band = usual_band(earlier)
    day = store.latest_shots(DOZEN, day=shot.day, before=_after_the_dozen(store, shot))
    window = shot.contract.get("time_on_string_s")
    traces = _traces(shot, band, None if window is None else window * 1e3, scheme)
    return LatestView(
        True,
        False,
        [*latest_parts.head(shot, newest[0], zone), *latest_parts.since(newest[0], found, zone)],
        telling.sentence(shot.contract),
        latest_parts.glance(shot.contract, target.distance_m, target.limit_mm),
        latest_parts.flags(
            [*shot.flags, *unusual(shot, earlier)],
            cautions_for(setup, dry_fire=any(r.reason == "dry_fire" for r in found)),
            usual_known=band is not None,
            limit_known=target.limit_mm is not None,
        ),
        latest_parts.band_words(band),
        latest_parts.notes(shot),
        latest_parts.recent(day, shot.id, zone),
        recent_figure(_recent_shots(day, shot.id, target.limit_mm), scheme),
        rejected,
        latest_parts.budget(shot.contract["budget"]),
        *(sources_figure(shot.contract["at_departure"], axis, scheme) for axis in AXIS_ORDER),
        *traces,
    )


def _after_the_dozen(store: Store, shot: ShotRecord) -> float | None:
    """Where to end the list so that the shot shown is in it: None while it is among the day's last."""
    last = store.latest_shots(DOZEN, day=shot.day)
    return None if any(s.id == shot.id for s in last) else shot.unix_s + 1e-3


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
    @app.callback(
        Output(ids.LATEST_EMPTY, "hidden"),
        Output(ids.LATEST_BODY, "hidden"),
        Output(ids.LATEST_HEAD, "children"),
        Output(ids.LATEST_SENTENCE, "children"),
        Output(ids.LATEST_FIGURES, "children"),
        Output(ids.LATEST_FLAGS, "children"),
        Output(ids.LATEST_BAND, "children"),
        Output(ids.LATEST_NOTES, "children"),
        Output(ids.LATEST_RECENT, "children"),
        Output(ids.LATEST_RECENT_FIGURE, "figure"),
        Output(ids.LATEST_REJECTED, "children"),
        Output(ids.LATEST_BUDGET, "children"),
        *(Output(ids.parts_graph(axis), "figure") for axis in AXIS_ORDER),
        *(Output(ids.trace_graph("latest", axis), "figure") for axis in AXIS_ORDER),
        Input(ids.TOKEN, "data"),
        Input(ids.URL, "search"),
        Input(ids.SCHEME, "computedColorScheme"),
        Input(ids.ZONE, "data"),
    )
    def _latest(_: Any, search: str | None, scheme: Scheme | None, zone: str | None) -> LatestView:
        return latest_view(store, pinned_shot(search), scheme or "light", telling.zone_of(zone))
