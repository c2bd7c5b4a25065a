"""One shot: its samples from the store, its instants by hand into it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from dash import ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from quiethand.axes import AXIS_NAMES
from quiethand.errors import InputError

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.latest import pinned_shot
from quiethand_dashboard.callbacks.marks import register as register_marks
from quiethand_dashboard.callbacks.trouble import ask
from quiethand_dashboard.callbacks.zoom import draw_keeping_zoom, fresh
from quiethand_dashboard.figures.instants import Instants, motion_figure
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.style import Figure, blank
from quiethand_dashboard.pages.pieces import AXIS_ORDER

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.shots.model import Trace
    from quiethand.store.records import ShotRecord
    from quiethand.store.store import Store

__all__ = ["ShotView", "instants_of", "keep_correction", "register", "shot_view", "words_on_instants"]


class ShotView(NamedTuple):
    """What the page's callback returns, in the order of its outputs."""

    gone_hidden: bool
    body_hidden: bool
    head: Any
    known: Any
    release: Any
    departure: Any
    acceleration: Figure
    rate: Figure


def instants_of(store: Store, shot: ShotRecord) -> Instants:
    """Departure and what was set by hand, in ms from the computed release."""
    release = shot.measures["release_s"]
    if release is None:
        return Instants(None)
    corrected = store.marks([shot.id])[shot.id].corrected

    def ms(seconds: float | None) -> float | None:
        return None if seconds is None else (seconds - release) * 1e3

    return Instants(ms(shot.measures["departure_s"]), ms(corrected.get("release_s")), ms(corrected.get("departure_s")))


def shot_view(store: Store, shot_id: int | None, scheme: Scheme, zone: tzinfo) -> ShotView:
    shot = None if shot_id is None else store.shot(shot_id)
    if shot is None:
        nothing = blank(scheme, "")
        return ShotView(False, True, [], None, no_update, no_update, nothing, nothing)
    instants = instants_of(store, shot)
    release, departure = (found if by_hand is None else by_hand for found, by_hand in instants.both.values())
    figures = (
        [motion_figure(what, shot.trace, instants, scheme, keep=f"shot-{shot.id}") for what in ("acceleration", "rate")]
        if shot.trace is not None
        else [blank(scheme, "No samples are stored for this shot.")] * 2
    )
    known = {"shot": shot.id, "departure": instants.departure}
    return ShotView(True, False, _head(shot, zone), known, _shown(release), _shown(departure), *figures)


def _shown(ms: float | None) -> Any:
    return "" if ms is None else round(ms, 2)


def _head(shot: ShotRecord, zone: tzinfo) -> Any:
    names = ", ".join(name for name in (shot.archer, shot.bow, shot.arrow) if name)
    return [
        html.H1(f"Shot {shot.number}, {telling.clock_time(shot.unix_s, zone)}, {telling.day_words(shot.unix_s, zone)}"),
        html.P(
            [
                names,
                " ",
                dcc.Link("At a glance", href=f"/?shot={shot.id}"),
                " ",
                dcc.Link("Compare with others", href=f"/compare?shots={shot.id}"),
            ],
            className="quiet links",
        ),
    ]


def words_on_instants(shot: ShotRecord, release: float | None, departure: float | None) -> str:
    """What the two instants in the fields come to, beside what was computed."""
    window = shot.measures["time_on_string_s"]
    if window is None or release is None or departure is None:
        return "Without both instants there is no time on the string."
    if departure <= release:
        return "The departure has to come after the release."
    told = f"Time on the string {departure - release:.2f} ms with these instants, computed {1e3 * window:.2f} ms."
    if shot.trace is None:
        return told
    turned = _turned(shot.trace, release, departure)
    if turned is None:
        return told
    by_axis = dict(zip(AXIS_NAMES, turned, strict=True))

    def said(axis: str, value: float | None) -> str:
        return f"{axis} {telling.said_axis(axis, value, shot.measures[f'rotation_sigma_{axis}_deg']).text}"

    ways = ", ".join(said(axis, by_axis[axis]) for axis in AXIS_ORDER)
    computed = ", ".join(said(axis, shot.measures[f"rotation_{axis}_deg"]) for axis in AXIS_ORDER)
    return f"{told} The turn between them: {ways}; computed: {computed}."


def _turned(trace: Trace, release: float, departure: float) -> list[float] | None:
    """Rotation from one instant to the other; differences of small rotation vectors, good to their product."""
    ms = trace.gyro_ms
    if not ms[0] <= release < departure <= ms[-1]:
        return None
    return [
        float(np.interp(departure, ms, trace.rotation_deg[:, i]) - np.interp(release, ms, trace.rotation_deg[:, i]))
        for i in range(3)
    ]


def keep_correction(
    store: Store, shot_id: int | None, release: float | None, departure: float | None, remark: str
) -> str:
    """Keep what differs from the computed instants by 0.005 ms or more.

    Raises:
        InputError: the shot is gone, the instants are in the wrong order, or nothing was moved.
    """
    shot = None if shot_id is None else store.shot(shot_id)
    if shot is None or shot.measures["release_s"] is None:
        raise InputError("this shot has no release to correct", do="choose another")
    before = instants_of(store, shot)
    if release is None or departure is None or not departure > release:
        raise InputError("the departure has to come after the release", do="set both in ms from the computed release")
    if departure - release > 100 or abs(release) > 50:
        raise InputError("so long no arrow stays on the string", do="set both in ms from the computed release")
    moved = []
    for measure, value, (found, by_hand) in zip(
        ("release_s", "departure_s"), (release, departure), before.both.values(), strict=True
    ):
        now = found if by_hand is None else by_hand
        if now is None or abs(value - now) >= 0.005:
            seconds = shot.measures["release_s"] + value / 1e3
            store.correct(shot.id, measure, seconds, remark=remark)  # type: ignore[arg-type]
            moved.append(measure.removesuffix("_s"))
    if not moved:
        raise InputError("nothing was moved", do="drag a line or change a field first")
    return f"Kept: {' and '.join(moved)} by hand, beside the computed."


def withdraw(store: Store, shot_id: int | None) -> str:
    """Take both corrections back; they stay in the shot's history."""
    marks = store.marks([shot_id])[shot_id] if shot_id is not None else None
    if marks is None or not marks.corrected:
        raise InputError("there is no correction to withdraw")
    for measure in marks.corrected:
        store.correct(marks.shot_id, measure, None)  # type: ignore[arg-type]
    return "Withdrawn: the computed instants stand alone again."


def register(app: Dash, store: Store) -> None:
    register_marks(app, store, "shot", ids.SHOT_URL, lambda search: [i for i in [pinned_shot(search)] if i is not None])
    draw_keeping_zoom(app, [ids.SHOT_ACCELERATION, ids.SHOT_RATE])

    @app.callback(
        Output(ids.SHOT_GONE, "hidden"),
        Output(ids.SHOT_BODY, "hidden"),
        Output(ids.SHOT_HEAD, "children"),
        Output(ids.SHOT_KNOWN, "data"),
        Output(ids.SHOT_RELEASE, "value"),
        Output(ids.SHOT_DEPARTURE, "value"),
        fresh(ids.SHOT_ACCELERATION),
        fresh(ids.SHOT_RATE),
        Input(ids.SHOT_URL, "search"),
        Input(ids.SCHEME_SHOWN, "data"),
        Input(ids.ZONE, "data"),
        Input(ids.SHOT_TOLD, "children"),
    )
    def _view(search: str | None, scheme: Scheme | None, zone: str | None, _: Any) -> ShotView:
        return shot_view(store, pinned_shot(search), scheme or "light", telling.zone_of(zone))

    # A line that was dragged sets the field; the field moves the line.
    app.clientside_callback(
        ClientsideFunction("quiethand", "dragged"),
        Output(ids.SHOT_RELEASE, "value", allow_duplicate=True),
        Output(ids.SHOT_DEPARTURE, "value", allow_duplicate=True),
        Input(ids.SHOT_ACCELERATION, "relayoutData"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("quiethand", "placed"),
        Output(ids.SHOT_ACCELERATION, "className"),
        Input(ids.SHOT_RELEASE, "value"),
        Input(ids.SHOT_DEPARTURE, "value"),
        State(ids.SHOT_ACCELERATION, "id"),
    )

    @app.callback(
        Output(ids.SHOT_INSTANTS, "children"),
        Input(ids.SHOT_RELEASE, "value"),
        Input(ids.SHOT_DEPARTURE, "value"),
        State(ids.SHOT_URL, "search"),
    )
    def _words(release: Any, departure: Any, search: str | None) -> Any:
        pinned = pinned_shot(search)
        shot = None if pinned is None else store.shot(pinned)
        return [] if shot is None else words_on_instants(shot, _number(release), _number(departure))

    @app.callback(
        Output(ids.SHOT_TOLD, "children"),
        Output(ids.SHOT_WHY, "value"),
        Input(ids.SHOT_KEEP, "n_clicks"),
        Input(ids.SHOT_WITHDRAW, "n_clicks"),
        State(ids.SHOT_RELEASE, "value"),
        State(ids.SHOT_DEPARTURE, "value"),
        State(ids.SHOT_WHY, "value"),
        State(ids.SHOT_URL, "search"),
        prevent_initial_call=True,
    )
    def _keep(_: Any, __: Any, release: Any, departure: Any, why: str | None, search: str | None) -> tuple[Any, Any]:
        shot_id = pinned_shot(search)
        if ctx.triggered_id == ids.SHOT_WITHDRAW:
            return ask(lambda: withdraw(store, shot_id)), no_update
        return ask(lambda: keep_correction(store, shot_id, _number(release), _number(departure), why or "")), ""


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and np.isfinite(value) else None
