"""Over time: the address holds archer, bow, arrow, measure and points; controls, words and charts follow it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import parse_qs, urlencode

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from quiethand.store.records import ShotFilter

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.zoom import draw_keeping_zoom, fresh
from quiethand_dashboard.charted import MEASURES_SHOWN, By, Charted, chart, points_of, setup_changes, words
from quiethand_dashboard.figures.control import MOST_CHANGES, control_figure
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.style import Figure, blank

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.records import SeriesPoint, Shooter
    from quiethand.store.store import Store

__all__ = ["Chosen", "OverView", "address_of", "chosen", "over_view", "register", "who_data"]

# As many points as can be told apart on a screen; some years of shooting days.
SHOTS_BY_SHOT: Final = 200
SHOTS_BY_DAY: Final = 5000


@dataclass(frozen=True)
class Chosen:
    archer: str
    bow: str
    arrow: str
    measure: str
    by: By

    @property
    def who(self) -> str:
        """The value of the control: what the address has of it."""
        return who(self.archer, self.bow, self.arrow)


class OverView(NamedTuple):
    """What the page's callback returns, in the order of its outputs."""

    empty_hidden: bool
    body_hidden: bool
    words: Any
    changes: Any
    about: str
    figure: Figure


def who(archer: str, bow: str, arrow: str) -> str:
    return urlencode({"archer": archer, "bow": bow, "arrow": arrow})


def who_data(shooters: Sequence[Shooter]) -> list[dict[str, str]]:
    """The choices: who shot last comes first."""
    return [
        {
            "value": who(s.archer, s.bow, s.arrow),
            "label": f"{s.archer or 'no archer'}, {s.bow or 'no bow'}, {s.arrow or 'no arrow'} ({s.shots} shots)",
        }
        for s in shooters
    ]


def chosen(search: str | None, shooters: Sequence[Shooter]) -> Chosen | None:
    """What an address names, its gaps filled with who shot last, the shift sideways and single shots.

    None where nobody has shot. An archer, bow and arrow without shots are taken as a gap.
    """
    if not shooters:
        return None
    asked = {k: v[0][:200] for k, v in parse_qs((search or "").lstrip("?")[:2000], keep_blank_values=True).items()}
    names = tuple(asked.get(k) for k in ("archer", "bow", "arrow"))
    found = next((s for s in shooters if (s.archer, s.bow, s.arrow) == names), shooters[0])
    measure = asked.get("measure", "")
    by: By = "day" if asked.get("by") == "day" else "shot"
    return Chosen(
        found.archer, found.bow, found.arrow, measure if measure in MEASURES_SHOWN else next(iter(MEASURES_SHOWN)), by
    )


def address_of(who_value: str, measure: str, by: str) -> str:
    return f"?{who_value}&{urlencode({'measure': measure, 'by': by})}"


def charted_for(store: Store, choice: Chosen) -> Charted:
    shown = MEASURES_SHOWN[choice.measure]
    limit = SHOTS_BY_SHOT if choice.by == "shot" else SHOTS_BY_DAY
    wanted = ShotFilter(archer=choice.archer, bow=choice.bow, arrow=choice.arrow, excluded=False)
    series = _by_what_was_shot(store, store.series(choice.measure, wanted, limit=limit))
    return chart(points_of(series, shown, choice.by), shown, choice.by)


def _by_what_was_shot(store: Store, series: Sequence[SeriesPoint]) -> list[SeriesPoint]:
    """One set-up for all that differ in the sensor's calibration alone: that is no change of bow, arrow or target."""
    first: dict[str, int] = {}
    same: dict[int, int] = {}
    for setup_id in dict.fromkeys(point.setup_id for point in series):
        document = store.setup_document(setup_id) or {}
        shot_with = {name: table for name, table in document.items() if name != "sensor"}
        same[setup_id] = first.setdefault(json.dumps(shot_with, sort_keys=True), setup_id)
    return [replace(point, setup_id=same[point.setup_id]) for point in series]


def over_view(store: Store, search: str | None, scheme: Scheme, zone: tzinfo) -> OverView:
    """Everything below the controls."""
    choice = chosen(search, store.shooters())
    if choice is None:
        return OverView(False, True, [], [], "", blank(scheme, ""))
    charted = charted_for(store, choice)
    keep = address_of(choice.who, choice.measure, choice.by)
    return OverView(
        True,
        False,
        [html.P(sentence) for sentence in words(charted)],
        _changes(store, charted, zone),
        _about(charted),
        control_figure(charted, scheme, keep=keep) if charted.points else blank(scheme, "Nothing to draw."),
    )


def _changes(store: Store, charted: Charted, zone: tzinfo) -> Any:
    if not charted.changes:
        return html.P("The set-up was the same throughout.", className="quiet")
    told, points = [], charted.points
    for at in charted.changes[-MOST_CHANGES:]:
        before, after = (store.setup_document(points[i].setup_id) for i in (at - 1, at))
        lines = setup_changes(before, after) or ["nothing that the set-up states"]
        day = telling.day_words(points[at].unix_s, zone)
        told.append(html.Li([html.B(f"{day}: "), "; ".join(lines)]))
    left = len(charted.changes) - len(told)
    more = [html.P(f"{left} earlier changes are not drawn.", className="quiet")] if left > 0 else []
    return [html.Ol(told), *more]


def _about(charted: Charted) -> str:
    each = charted.by
    told = (
        f"Above, each {each} by itself; below, a mean in which the newest {each} counts three tenths and all before it "
        "the rest: it is slow to stray and quick to tell a small lasting change. Dashed: three standard deviations, "
        f"from the differences between neighbouring {each}s"
    )
    told += (
        f" among the first {charted.base} (shaded). "
        if 0 < charted.base < len(charted.points)
        else ", once there are enough of them. "
    )
    return told + (
        "The limits are this archer's own scatter, not a goal: within them is not good, outside is not bad. Neighbours "
        "that resemble each other more than others do make them too narrow; look twice at a single point outside."
    )


def follow(
    moved: str | None, search: str | None, controls: Sequence[str | None], shooters: Sequence[Shooter]
) -> tuple[Any, Any, Any, Any]:
    """What the address and the three controls should be, given which of them moved last."""
    choice = chosen(search, shooters)
    if choice is None:
        return (no_update,) * 4
    if moved in (ids.OVER_WHO, ids.OVER_MEASURE, ids.OVER_BY) and all(controls):
        now = address_of(*(str(c) for c in controls))
        return (no_update if now == search else now), no_update, no_update, no_update
    wanted = (choice.who, choice.measure, choice.by)
    return no_update, *(no_update if c == w else w for c, w in zip(controls, wanted, strict=True))


def csv_text(charted: Charted) -> str:
    """A line for each point: day, unix time, value in the unit shown, number of shots, smoothed value."""
    out = io.StringIO()
    writer = csv.writer(out)
    unit = charted.shown.unit.replace("/", "_per_").replace(" ", "_")
    writer.writerow(["day", "unix_s", f"value_{unit}", "shots", f"smoothed_{unit}"])
    for i, point in enumerate(charted.points):
        smoothed = "" if charted.smoothed is None else repr(float(charted.smoothed.z[i]))
        writer.writerow([point.day, repr(point.unix_s), repr(point.value), point.shots, smoothed])
    return out.getvalue()


def register(app: Dash, store: Store) -> None:
    draw_keeping_zoom(app, [ids.OVER_FIGURE])

    @app.callback(Output(ids.OVER_WHO, "data"), Input(ids.TOKEN, "data"))
    def _who(_: Any) -> Any:
        return who_data(store.shooters())

    # Address and controls follow each other, so one callback answers for all and knows which of them moved.
    @app.callback(
        Output(ids.OVER_URL, "search"),
        Output(ids.OVER_WHO, "value"),
        Output(ids.OVER_MEASURE, "value"),
        Output(ids.OVER_BY, "value"),
        Input(ids.OVER_URL, "search"),
        Input(ids.OVER_WHO, "value"),
        Input(ids.OVER_MEASURE, "value"),
        Input(ids.OVER_BY, "value"),
        Input(ids.OVER_WHO, "data"),
        State(ids.OVER_URL, "pathname"),
    )
    def _follow(search: str | None, *rest: Any) -> tuple[Any, Any, Any, Any]:
        *controls, _, path = rest
        if (path or "").rstrip("/") != "/over-time":
            return (no_update,) * 4
        return follow(ctx.triggered_id, search, controls, store.shooters())

    @app.callback(
        Output(ids.OVER_EMPTY, "hidden"),
        Output(ids.OVER_BODY, "hidden"),
        Output(ids.OVER_WORDS, "children"),
        Output(ids.OVER_CHANGES, "children"),
        Output(ids.OVER_ABOUT, "children"),
        fresh(ids.OVER_FIGURE),
        Input(ids.OVER_URL, "search"),
        Input(ids.TOKEN, "data"),
        Input(ids.SCHEME_SHOWN, "data"),
        Input(ids.ZONE, "data"),
    )
    def _over(search: str | None, _: Any, scheme: Scheme | None, zone: str | None) -> OverView:
        return over_view(store, search, scheme or "light", telling.zone_of(zone))

    @app.callback(
        Output(ids.OVER_CSV_DATA, "data"),
        Input(ids.OVER_CSV, "n_clicks"),
        State(ids.OVER_URL, "search"),
        prevent_initial_call=True,
    )
    def _csv(clicks: int | None, search: str | None) -> Any:
        choice = chosen(search, store.shooters())
        if not clicks or choice is None:
            return no_update
        return dcc.send_string(csv_text(charted_for(store, choice)), f"quiethand-{choice.measure}.csv")
