"""Group: the address narrows it; impacts go into the store, and what it holds comes back as face, words and table."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import parse_qs, urlencode

import numpy as np
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from quiethand.bow.faces import FACES, Face
from quiethand.errors import InputError
from quiethand.judge.explained import Explained, explained, explained_words, why_not_explained
from quiethand.judge.group import Group, group, scores, why_no_group
from quiethand.judge.group_words import group_words, score_words
from quiethand.store.records import ShotFilter

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.group_entry import enter, remove
from quiethand_dashboard.callbacks.trouble import ask
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.style import Figure, blank
from quiethand_dashboard.figures.target import beside_figure, face_figure

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.store import Store
    from quiethand.store.typed_records import Impact

__all__ = ["Chosen", "GroupView", "chosen", "csv_text", "group_view", "look_up", "register"]

MOST_SHOTS: Final = 500
MOST_LISTED: Final = 120  # rows of the table on the page; the CSV has all
_MEASURES: Final = ("pointing_right_mm", "pointing_up_mm", "rate_yaw_deg_s", "rate_pitch_deg_s")
_FIELDS: Final = ("archer", "arrow", "from", "to", "face")
_CONTROLS: Final = (ids.GROUP_ARCHER, ids.GROUP_ARROW, ids.GROUP_FROM, ids.GROUP_TO, ids.GROUP_FACE_NAME)
_UNDER: Final = "/group"


@dataclass(frozen=True)
class Chosen:
    """What the page is narrowed to; None does not narrow."""

    archer: str
    arrow: str | None
    day_from: str | None
    day_to: str | None
    face: str | None

    @property
    def filter(self) -> ShotFilter:
        return ShotFilter(
            archer=self.archer, arrow=self.arrow, day_from=self.day_from, day_to=self.day_to, excluded=False
        )


class GroupView(NamedTuple):
    """What the page's callback returns, in the order of its outputs."""

    empty_hidden: bool
    body_hidden: bool
    face: Figure
    words: Any
    explained: Any
    beside: Figure
    table: Any
    shots: Any
    next_shot: str | None


@dataclass(frozen=True)
class LookedUp:
    """Shots that fit, the oldest first, the impact of each, and impacts without a shot."""

    shots: Sequence[Mapping[str, Any]]
    impacts: Mapping[int, Impact]  # by the shot's id
    free: Sequence[Impact]
    face: Face

    @property
    def all(self) -> list[tuple[str, Impact]]:
        """Every impact with its name for the face."""
        joined = [(str(s["number"]), self.impacts[s["id"]]) for s in self.shots if s["id"] in self.impacts]
        return [*joined, *(("free", one) for one in self.free)]


def chosen(store: Store, search: str | None) -> Chosen | None:
    """What the address says; where it says nothing, the last day of who shot last. None: nobody has shot."""
    shooters = store.shooters(limit=1)
    if not shooters:
        return None
    stated = {name: values[0][:200] for name, values in parse_qs((search or "").lstrip("?")).items()}
    stated = {name: v for name, v in stated.items() if name not in ("from", "to") or telling.is_day(v)}
    if "archer" not in stated:
        newest = store.latest_shots(1, archer=shooters[0].archer)
        stated = {"archer": shooters[0].archer, "from": newest[0].day, **stated}
    face = stated.get("face")
    return Chosen(
        stated["archer"], stated.get("arrow"), stated.get("from"), stated.get("to"), face if face in FACES else None
    )


def look_up(store: Store, choice: Chosen) -> LookedUp:
    shots = store.shot_rows(choice.filter, limit=MOST_SHOTS, measures=_MEASURES)[::-1]
    joined = {i.shot_id: i for i in store.impacts(choice.filter, free=False, limit=5000) if i.shot_id is not None}
    when = ShotFilter(archer=choice.archer, day_from=choice.day_from, day_to=choice.day_to)
    free = [] if choice.arrow else store.impacts(when, free=True, limit=MOST_SHOTS)
    name = choice.face
    if name is None:
        newest = store.latest_shots(1, archer=choice.archer)
        name = newest[0].face if newest and newest[0].face in FACES else "40 cm"
    return LookedUp(shots, {s["id"]: joined[s["id"]] for s in shots if s["id"] in joined}, free, FACES[name])


def group_view(store: Store, search: str | None, scheme: Scheme, zone: tzinfo) -> GroupView:
    choice = chosen(store, search)
    if choice is None:
        nothing = blank(scheme, "")
        return GroupView(False, True, nothing, [], [], nothing, [], [], None)
    found = look_up(store, choice)
    all_found = found.all
    right, up = [i.right_mm for _, i in all_found], [i.up_mm for _, i in all_found]
    told = _group_or_none(right, up)
    waiting = [s for s in found.shots if s["id"] not in found.impacts]
    options = [{"value": str(s["id"]), "label": f"shot {_named(s, zone)}"} for s in waiting]
    explanation, beside = _explained(found, scheme)
    return GroupView(
        True,
        False,
        face_figure(found.face, right, up, [name for name, _ in all_found], told, scheme),
        _words(found, right, up, told),
        explanation,
        beside,
        _table(found, zone),
        [*options, {"value": "free", "label": "no shot: the impact stands by itself"}],
        options[0]["value"] if options else "free",
    )


def _named(shot: Mapping[str, Any], zone: tzinfo) -> str:
    return f"{shot['number']}, {telling.clock_time(shot['unix_s'], zone)[:5]}, {telling.day_in_words(shot['day'])[:-5]}"


def _group_or_none(right: Sequence[float], up: Sequence[float]) -> Group | None:
    try:
        return group(right, up)
    except InputError:
        return None


def _words(found: LookedUp, right: Sequence[float], up: Sequence[float], told: Group | None) -> Any:
    if not right:
        return html.P("No impact yet. Tap on the face where the first arrow hit; the next tap is the next shot's.")
    said = [*score_words(scores(found.face, right, up, shaft_mm=[i.diameter_mm for _, i in found.all]))]
    if told is not None:
        said += group_words(told)
    else:
        said.append(f"{why_no_group(len(right)) or 'The impacts lie in one line or place'}.")
    if found.free:
        said.append(f"{len(found.free)} of the impacts belong to no shot.")
    return [html.P(sentence) for sentence in said]


def _joined(found: LookedUp) -> tuple[list[str], np.ndarray, np.ndarray, np.ndarray]:
    """Names, impacts, pointing shifts and rates of the shots that have all of them; arrays of shape (n, 2)."""
    rows = [
        (f"shot {s['number']}", found.impacts[s["id"]], s)
        for s in found.shots
        if s["id"] in found.impacts and all(s[name] is not None for name in _MEASURES)
    ]
    impacts = np.array([[i.right_mm, i.up_mm] for _, i, _ in rows]).reshape(-1, 2)
    motion = np.array([[s[name] for name in _MEASURES] for _, _, s in rows], dtype=np.float64).reshape(-1, 4)
    return [name for name, _, _ in rows], impacts, motion[:, :2], motion[:, 2:]


def _explained(found: LookedUp, scheme: Scheme) -> tuple[Any, Figure]:
    names, impacts, pointing, rate = _joined(found)
    if not names:
        return (
            html.P(
                "Once impacts are joined to shots, each stands here beside what the bow's turn alone would have done.",
                className="quiet",
            ),
            blank(scheme, "No shot with an impact yet."),
        )  # fmt: skip
    told: Explained | None = None
    try:
        told = explained(impacts, pointing, rate)
        said = list(explained_words(told))
    except InputError as wrong:
        said = [f"{why_not_explained(len(names)) or wrong.what}."]
    drawn = beside_figure(pointing, impacts, names, told, scheme)
    lines = "Dashed: impacts that move as the bow's turn alone would move them."
    if told is not None:
        lines += " Solid: as these shots went."
    return [*(html.P(sentence) for sentence in said), html.P(lines, className="quiet")], drawn


def _table(found: LookedUp, zone: tzinfo) -> Any:
    listed = list(found.shots)[-MOST_LISTED:][::-1]
    heads = ("Shot", "Impact", "Bow's turn alone", html.Span("To remove it", className="only-heard"))
    rows = [_row(_named(s, zone), found.impacts.get(s["id"]), s) for s in listed]
    rows += [_row(f"no shot, {telling.day_in_words(i.day)}", i, {}) for i in found.free[:MOST_LISTED]]
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])),
            html.Tbody(rows),
        ],
        className="plain-table roomy dense by-shot",
    )


def _row(name: str, impact: Impact | None, shot: Mapping[str, Any]) -> html.Tr:
    remove: Any = ""
    if impact is not None:
        remove = html.Button(
            "Remove", id=ids.remove_impact(impact.id), type="button", className="save",
            **{"aria-label": f"Remove the impact of {name}"},
        )  # fmt: skip
    return html.Tr(
        [
            html.Th(name, scope="row"),
            html.Td("–" if impact is None else _place(impact.right_mm, impact.up_mm)),
            html.Td(_place(shot.get("pointing_right_mm"), shot.get("pointing_up_mm")) if shot else ""),
            html.Td(remove),
        ]
    )


def _place(right: float | None, up: float | None) -> str:
    if right is None or up is None:
        return "–"
    return f"{telling.said_shift('right', right).text}, {telling.said_shift('up', up).text}"


def csv_text(found: LookedUp) -> str:
    """A line for each shot and for each impact without one."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["day", "unix_s", "shot", "right_mm", "up_mm", *_MEASURES])
    for s in found.shots:
        impact = found.impacts.get(s["id"])
        place = ("", "") if impact is None else (repr(impact.right_mm), repr(impact.up_mm))
        figures = ["" if s[name] is None else repr(s[name]) for name in _MEASURES]
        writer.writerow([s["day"], repr(s["unix_s"]), s["number"], *place, *figures])
    for i in found.free:
        writer.writerow([i.day, repr(i.unix_s), "", repr(i.right_mm), repr(i.up_mm), *[""] * len(_MEASURES)])
    return out.getvalue()


def register(app: Dash, store: Store) -> None:
    app.clientside_callback(
        ClientsideFunction("quiethand", "tappable"),
        Output(ids.GROUP_FACE, "className"),
        Input(ids.GROUP_FACE, "figure"),
        State(ids.GROUP_FACE, "id"),
        State(ids.GROUP_TAPPED, "id"),
    )

    @app.callback(
        Output(ids.GROUP_ARCHER, "data"),
        Output(ids.GROUP_ARROW, "data"),
        Output(ids.GROUP_FROM, "data"),
        Output(ids.GROUP_TO, "data"),
        Input(ids.TOKEN, "data"),
    )
    def _options(_: Any) -> list[Any]:
        days = [{"value": day, "label": telling.day_in_words(day)} for day in store.days()]
        archers = [{"value": name, "label": name or "no name"} for name in store.archers()]
        return [archers, [name for name in store.arrows() if name], days, days]

    # Address and fields follow each other, so one callback answers for all and knows which of them moved.
    @app.callback(
        Output(ids.GROUP_URL, "search"),
        *(Output(control, "value") for control in _CONTROLS),
        Input(ids.GROUP_URL, "search"),
        *(Input(control, "value") for control in _CONTROLS),
        Input(ids.GROUP_ARCHER, "data"),
        State(ids.GROUP_URL, "pathname"),
    )
    def _follow(search: str | None, *rest: Any) -> list[Any]:
        *values, _, path = rest
        choice = chosen(store, search)
        if (path or "").rstrip("/") != _UNDER or choice is None:
            return [no_update] * (1 + len(_CONTROLS))
        if ctx.triggered_id in _CONTROLS and values[0] is not None:
            now = "?" + urlencode({n: v for n, v in zip(_FIELDS, values, strict=True) if v or n == "archer"})
            return [no_update if now == search else now, *([no_update] * len(_CONTROLS))]
        face = choice.face or look_up(store, choice).face.name
        wanted = (choice.archer, choice.arrow, choice.day_from, choice.day_to, face)
        return [no_update, *(no_update if v == w else w for v, w in zip(values, wanted, strict=True))]

    @app.callback(
        Output(ids.GROUP_EMPTY, "hidden"),
        Output(ids.GROUP_BODY, "hidden"),
        Output(ids.GROUP_FACE, "figure"),
        Output(ids.GROUP_WORDS, "children"),
        Output(ids.GROUP_EXPLAINED, "children"),
        Output(ids.GROUP_BESIDE, "figure"),
        Output(ids.GROUP_TABLE, "children"),
        Output(ids.GROUP_SHOT, "data"),
        Output(ids.GROUP_SHOT, "value"),
        Input(ids.GROUP_URL, "search"),
        Input(ids.TOKEN, "data"),
        Input(ids.GROUP_TOLD, "children"),
        Input(ids.SCHEME_SHOWN, "data"),
        Input(ids.ZONE, "data"),
    )
    def _view(search: str | None, _: Any, __: Any, scheme: Scheme | None, zone: str | None) -> GroupView:
        return group_view(store, search, scheme or "light", telling.zone_of(zone))

    @app.callback(
        Output(ids.GROUP_TOLD, "children"),
        Output(ids.GROUP_FILE, "contents"),
        Input(ids.GROUP_TAPPED, "data"),
        Input(ids.GROUP_ADD, "n_clicks"),
        Input(ids.GROUP_BACK, "n_clicks"),
        Input(ids.GROUP_FILE, "contents"),
        State(ids.GROUP_SHOT, "value"),
        State(ids.GROUP_RIGHT, "value"),
        State(ids.GROUP_UP, "value"),
        State(ids.GROUP_SHAFT, "value"),
        State(ids.GROUP_FACE_NAME, "value"),
        State(ids.GROUP_URL, "search"),
        prevent_initial_call=True,
    )
    def _enter(tapped: Any, _: Any, __: Any, contents: Any, *fields: Any) -> tuple[Any, Any]:
        moved, search = ctx.triggered_id, fields[-1]
        choice = chosen(store, search)
        if choice is None or moved is None:
            return no_update, no_update
        shots = [(s["id"], s["number"]) for s in look_up(store, choice).shots]
        return ask(lambda: enter(store, choice.archer, shots, moved, tapped, contents, fields[:-1])), None

    # By itself: a table drawn anew has buttons that nobody has pressed, and asking for them must not outrun an entry.
    @app.callback(
        Output(ids.GROUP_TOLD, "children", allow_duplicate=True),
        Input(ids.remove_impact(ALL), "n_clicks"),
        prevent_initial_call=True,
    )
    def _remove(removed: list[Any]) -> Any:
        moved = ctx.triggered_id
        if not isinstance(moved, Mapping) or not any(removed):
            return no_update
        return ask(lambda: remove(store, int(moved["impact"])))

    @app.callback(
        Output(ids.GROUP_CSV_DATA, "data"),
        Input(ids.GROUP_CSV, "n_clicks"),
        State(ids.GROUP_URL, "search"),
        prevent_initial_call=True,
    )
    def _csv(clicks: int | None, search: str | None) -> Any:
        choice = chosen(store, search)
        if not clicks or choice is None:
            return no_update
        return dcc.send_string(csv_text(look_up(store, choice)), "quiethand-impacts.csv")
