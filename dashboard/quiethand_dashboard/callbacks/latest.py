"""The latest shot, or the one that the address names, from the store to the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import parse_qs

from dash import Dash, Input, Output, dcc, html
from quiethand.axes import AXIS_NAMES

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.fetched import MOST_EARLIER, Target, setup_of, target_of, unusual, usual_band
from quiethand_dashboard.figures.excess import excess_spans
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.recent import RecentShot, recent_figure
from quiethand_dashboard.figures.sources import sources_figure
from quiethand_dashboard.figures.style import blank
from quiethand_dashboard.figures.traces import Band, DrawnShot, traces_figure

if TYPE_CHECKING:
    from datetime import tzinfo

    import plotly.graph_objects as go
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
    parts: go.Figure
    band: str
    notes: Any
    recent: Any
    recent_figure: go.Figure
    rejected: Any
    budget: Any
    yaw: go.Figure
    pitch: go.Figure
    cant: go.Figure


def pinned_shot(search: str | None) -> int | None:
    """The shot that the address asks for ("?shot=12"), or None: the newest."""
    values = parse_qs((search or "").lstrip("?")).get("shot", [])
    return int(values[0]) if values and values[0].isascii() and values[0].isdigit() and len(values[0]) < 16 else None


def latest_view(store: Store, pinned: int | None, scheme: Scheme, zone: tzinfo) -> LatestView:
    """Everything on the page for the newest shot, or for `pinned` where it is stored."""
    newest = store.latest_shots(1)
    rejected = _rejected(store, zone)
    if not newest:
        nothing = blank(scheme, "")
        return LatestView(False, True, [], "", [], [], nothing, "", [], [], nothing, rejected, [], *[nothing] * 3)
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
        _head(shot, newest[0], zone),
        telling.sentence(shot.contract),
        _figures(shot.contract, target),
        _flags([*shot.flags, *unusual(shot, earlier)], band),
        sources_figure(shot.contract["at_departure"], scheme),
        _band_words(band),
        _notes(shot),
        _recent(day, shot.id, zone),
        recent_figure(_recent_shots(day, shot.id, target.limit_mm), scheme),
        rejected,
        _budget(shot.contract["budget"]),
        *traces,
    )


def _after_the_dozen(store: Store, shot: ShotRecord) -> float | None:
    """Where to end the list so that the shot shown is in it: None while it is among the day's last."""
    last = store.latest_shots(DOZEN, day=shot.day)
    return None if any(s.id == shot.id for s in last) else shot.unix_s + 1e-3


def _traces(shot: ShotRecord, band: Band | None, window_ms: float | None, scheme: Scheme) -> list[go.Figure]:
    if shot.trace is None:
        return [blank(scheme, "The trace of this shot is not stored.")] * 3
    drawn = DrawnShot(f"shot {shot.number}", shot.trace, window_ms, excess_spans(shot.trace, window_ms, band))
    return [traces_figure(axis, [drawn], band, scheme, keep="latest") for axis in ("yaw", "pitch", "cant")]


def _head(shot: ShotRecord, newest: ShotRecord, zone: tzinfo) -> list[Any]:
    names = [name for name in (shot.archer, shot.bow, shot.arrow) if name]
    said = [
        html.Span(f"Shot {shot.number}", className="shot-number"),
        html.Span(f"{telling.clock_time(shot.unix_s, zone)}, {telling.day_words(shot.unix_s, zone)}"),
        *(html.Span(name) for name in names),
    ]
    if shot.id != newest.id:
        said.append(dcc.Link("Back to the newest shot", href="/", className="newest"))
    return said


def _figures(contract: Mapping[str, Any], target: Target) -> list[Any]:
    at = contract["at_departure"]
    shift, spread = at["pointing_shift_mm"], at["pointing_shift_sigma_mm"]
    limit = f"limit {target.limit_mm:.0f} mm" if target.limit_mm else ""
    far = f" at {target.distance_m:g} m" if target.distance_m else " at the target"
    clear = contract.get("rest_clear_s"), contract.get("release_s")
    to_rest = f"rest clear at {1e3 * (clear[0] - clear[1]):.1f} ms" if None not in clear else ""
    turned = [
        _figure(f"{axis.capitalize()} when the arrow left",
                telling.said_axis(axis, at["rotation_deg"][axis], at["rotation_sigma_deg"][axis]), "", "second")
        for axis in ("yaw", "pitch", "cant")
    ]  # fmt: skip
    return [
        _figure("Time on the string", telling.said_window(contract), to_rest, "first"),
        _figure("Sideways" + far, telling.said_shift("right", shift["right"], spread["right"]), limit, "first"),
        _figure("Height" + far, telling.said_shift("up", shift["up"], spread["up"]), limit, "first"),
        *turned,
    ]


def _figure(title: str, said: telling.Said, beside: str, rank: str) -> html.Div:
    below = "  ·  ".join(text for text in (said.sigma, beside) if text)
    return html.Div(
        [
            html.Div(title, className="figure-title"),
            html.Div([html.Span(said.number, className="number"), " ", html.Span(said.unit, className="unit")]),
            html.Div(below, className="quiet figure-below"),
        ],
        className=f"big-figure {rank}",
    )


def _flags(flags: Sequence[Mapping[str, Any]], band: Band | None) -> Any:
    if not flags:
        usual = " and nothing unusual for this archer" if band is not None else ""
        return html.P(f"Within the limits{usual}.", className="flag")
    return [
        html.P([html.Span(telling.flag_mark(f["verdict"])[0], className="mark", **{"aria-hidden": "true"}),
                html.B(telling.flag_mark(f["verdict"])[1].capitalize() + ": "), f["text"]], className="flag")
        for f in flags
    ]  # fmt: skip


def _band_words(band: Band | None) -> str:
    ground = "Shaded blue: the time on the string. "
    if band is None:
        return ground + "The grey band of this archer's usual appears after some more shots with this bow and arrow."
    return ground + f"Grey band: this archer's usual, from {band.shots} earlier shots with this bow and arrow."


def _notes(shot: ShotRecord) -> Any:
    source = {"shock": "the shock at brace height", "launch_model": "the launch model", "assumed": "an assumed time"}
    told = [f"The departure was taken from {source.get(shot.departure_from, shot.departure_from)}.", *shot.notes]
    return html.Ul([html.Li(note) for note in told])


def _recent(shots: Sequence[ShotRecord], shown: int, zone: tzinfo) -> Any:
    rows = []
    for shot in shots:
        at = shot.contract["at_departure"]["pointing_shift_mm"]
        rows.append(
            html.Tr(
                [
                    html.Td(dcc.Link(f"{shot.number}", href=f"/?shot={shot.id}", title=f"Show shot {shot.number}")),
                    html.Td(telling.clock_time(shot.unix_s, zone)[:5]),
                    html.Td(telling.said_window(shot.contract).number, className="right"),
                    html.Td(telling.said_shift("right", at["right"]).text.replace(" mm", ""), className="right"),
                    html.Td(telling.said_shift("up", at["up"]).text.replace(" mm", ""), className="right"),
                    html.Td(telling.flag_marks(shot.flags), className="marks",
                            title=", ".join(telling.flag_mark(f["verdict"])[1] for f in shot.flags)),
                ],
                className="shown" if shot.id == shown else "",
            )
        )  # fmt: skip
    head = [html.Th(t, scope="col", className=c) for t, c in (
        ("Shot", ""), ("Time", ""), ("On string, ms", "right"), ("Sideways, mm", "right"), ("Height, mm", "right"), ("", ""))]  # fmt: skip
    return [
        html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)], className="plain-table"),
        html.P("▲ over the limit   ◇ too close to tell   ○ unusual", className="quiet key"),
    ]


def _recent_shots(shots: Sequence[ShotRecord], shown: int, limit_mm: float | None) -> list[RecentShot]:
    found = []
    for shot in reversed(shots):
        at = shot.contract["at_departure"]
        shift, sigma = at["pointing_shift_mm"], at["pointing_shift_sigma_mm"]
        found.append(
            RecentShot(str(shot.number), shift["right"], sigma["right"], shift["up"], sigma["up"], limit_mm, shot.id == shown)
        )  # fmt: skip
    return found


def _rejected(store: Store, zone: tzinfo) -> Any:
    found = store.rejected(REJECTED_SHOWN)
    if not found:
        return html.P("Nothing so far. Movements that could have been a shot and were not are listed here, with the "
                      "reason.", className="quiet")  # fmt: skip
    return html.Ul(
        [
            html.Li([html.B(f"{telling.clock_time(r.unix_s, zone)} {r.reason.replace('_', ' ')}: "), r.text])
            for r in found
        ],
        className="rejected",
    )


def _budget(rows: Sequence[Mapping[str, Any]]) -> Any:
    if not rows:
        return html.P("The uncertainty of this shot's rotation is not known.", className="quiet")
    head = [html.Th("Source", scope="col"), html.Th("Kind", scope="col"),
            *(html.Th(f"{axis}, deg", scope="col", className="right") for axis in AXIS_NAMES)]  # fmt: skip
    body = [
        html.Tr([html.Td(row["source"].replace("_", " ")), html.Td(row["kind"]),
                 *(html.Td("–" if row["deg"][axis] is None else f"{row['deg'][axis]:.4f}", className="right")
                   for axis in AXIS_NAMES)])
        for row in rows
    ]  # fmt: skip
    return html.Div(
        html.Table([html.Thead(html.Tr(head)), html.Tbody(body)], className="plain-table"),
        className="wide", tabIndex="0", role="region", **{"aria-label": "Uncertainty by source"},
    )  # fmt: skip


def register(app: Dash, store: Store) -> None:
    @app.callback(
        Output(ids.LATEST_EMPTY, "hidden"),
        Output(ids.LATEST_BODY, "hidden"),
        Output(ids.LATEST_HEAD, "children"),
        Output(ids.LATEST_SENTENCE, "children"),
        Output(ids.LATEST_FIGURES, "children"),
        Output(ids.LATEST_FLAGS, "children"),
        Output(ids.LATEST_PARTS, "figure"),
        Output(ids.LATEST_BAND, "children"),
        Output(ids.LATEST_NOTES, "children"),
        Output(ids.LATEST_RECENT, "children"),
        Output(ids.LATEST_RECENT_FIGURE, "figure"),
        Output(ids.LATEST_REJECTED, "children"),
        Output(ids.LATEST_BUDGET, "children"),
        Output(ids.trace_graph("latest", "yaw"), "figure"),
        Output(ids.trace_graph("latest", "pitch"), "figure"),
        Output(ids.trace_graph("latest", "cant"), "figure"),
        Input(ids.TOKEN, "data"),
        Input(ids.URL, "search"),
        Input(ids.SCHEME, "computedColorScheme"),
        Input(ids.ZONE, "data"),
    )
    def _latest(_: Any, search: str | None, scheme: Scheme | None, zone: str | None) -> LatestView:
        return latest_view(store, pinned_shot(search), scheme or "light", telling.zone_of(zone))
