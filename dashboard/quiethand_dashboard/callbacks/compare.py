"""Comparing: the address holds which shots are chosen; table, traces and figures follow it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import parse_qs

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from quiethand.store.measures import MEASURES

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.fetched import MOST_EARLIER, usual_band
from quiethand_dashboard.callbacks.judged import JUDGED_COLUMNS, Judge
from quiethand_dashboard.callbacks.marks import register as register_marks
from quiethand_dashboard.callbacks.zoom import draw_keeping_zoom, fresh
from quiethand_dashboard.figures.excess import excess_spans, excess_words
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.side_by_side import csv_text, rows
from quiethand_dashboard.figures.style import Figure, blank
from quiethand_dashboard.figures.traces import Band, DrawnShot, traces_figure
from quiethand_dashboard.pages.marks import badges

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.records import ShotRecord
    from quiethand.store.store import Store
    from quiethand.store.typed_records import ShotMarks

__all__ = ["MOST_SHOTS", "CompareView", "address_of", "chosen_shots", "compare_view", "grid_rows", "register"]

MOST_SHOTS: Final = 6  # as many lines as can be told apart in one colour
ROWS: Final = 2000  # of the table to choose from
LETTERS: Final = "ABCDEF"


class CompareView(NamedTuple):
    """What the page's callback returns, in the order of its outputs."""

    body_hidden: bool
    chosen: Any
    excess: Any
    table: Any
    yaw: Figure
    pitch: Figure
    cant: Figure


def chosen_shots(search: str | None) -> list[int]:
    """The shots that an address names ("?shots=3,8"): at most six, each once, A first; others are left out."""
    values = parse_qs((search or "").lstrip("?")).get("shots", [""])[0].split(",")
    numbers = [int(v) for v in values[:50] if v.isascii() and v.isdigit() and len(v) < 16]
    return list(dict.fromkeys(numbers))[:MOST_SHOTS]


def address_of(shots: Sequence[int]) -> str:
    return f"?shots={','.join(str(s) for s in shots)}" if shots else ""


def grid_rows(store: Store, zone: tzinfo) -> list[dict[str, Any]]:
    """A row for each of the latest shots, with what one filters by."""
    found = store.shot_rows(limit=ROWS, measures=JUDGED_COLUMNS)
    judge, marks = Judge(store), store.marks([row["id"] for row in found])
    return [
        {
            "id": str(row["id"]),
            "when": f"{row['number']}, {telling.day_in_words(row['day'])[:-5]}",
            "day": row["day"],
            "time": telling.clock_time(row["unix_s"], zone),
            "number": row["number"],
            "archer": row["archer"],
            "bow": row["bow"],
            "arrow": row["arrow"],
            "flagged": ", ".join(dict.fromkeys(telling.flag_mark(f["verdict"])[1] for f in judge.row_flags(row)))
            or "no",
            "noted": _noted(marks[row["id"]]),
            "on_string_ms": _rounded(row["time_on_string_s"], 1e3, 2),
            "right_mm": _rounded(row["pointing_right_mm"], 1.0, 1),
            "up_mm": _rounded(row["pointing_up_mm"], 1.0, 1),
        }
        for row in found
    ]


def _noted(marks: ShotMarks) -> str:
    """What is said about a shot, in words to filter by."""
    called = ["called"] if marks.call is not None else []
    return ", ".join([*(["left out"] if marks.exclusion else []), *called, *marks.tags])


def _rounded(value: float | None, factor: float, digits: int) -> float | None:
    return None if value is None else round(value * factor, digits)


def compare_view(store: Store, shot_ids: Sequence[int], scheme: Scheme, zone: tzinfo) -> CompareView:
    """Everything below the table of the page for the chosen shots; those no longer stored are named."""
    found = [store.shot(i) for i in shot_ids]
    shots = [shot for shot in found if shot is not None]
    gone = len(found) - len(shots)
    chosen = _chosen(shots, store.marks([shot.id for shot in shots]), gone, zone)
    if not shots:
        nothing = blank(scheme, "")
        return CompareView(True, chosen, [], [], nothing, nothing, nothing)
    band = usual_band(store.usual_inputs(shots[0].id, MOST_EARLIER))
    drawn = []
    for letter, shot in zip(LETTERS, shots, strict=False):
        window = shot.contract.get("time_on_string_s")
        window_ms = None if window is None else window * 1e3
        if shot.trace is not None:
            spans = excess_spans(shot.trace, window_ms, band) if _alike(shot, shots[0]) else ()
            drawn.append(DrawnShot(f"{letter}, shot {shot.number}", shot.trace, window_ms, spans))
    figures = [
        traces_figure(axis, drawn, band, scheme, keep=address_of(shot_ids))
        if drawn
        else blank(scheme, "No trace is stored for these shots.")
        for axis in ("yaw", "pitch", "cant")
    ]
    judge = Judge(store)
    return CompareView(
        False, chosen, _excess(shots, [judge.flags(s) for s in shots], drawn, band), _table(shots), *figures
    )


def _alike(one: ShotRecord, other: ShotRecord) -> bool:
    """Whether the usual of one is the usual of the other."""
    return (one.archer, one.bow, one.arrow) == (other.archer, other.bow, other.arrow)


def _chosen(shots: Sequence[ShotRecord], marks: Mapping[int, ShotMarks], gone: int, zone: tzinfo) -> Any:
    if not shots and not gone:
        return html.P("No shot is chosen yet.", className="quiet")
    said: list[Any] = [
        html.Div(
            [
                html.Span(letter, className="letter"),
                html.Span(className=f"line line-{order}", **{"aria-hidden": "true"}),
                html.Span(
                    f"Shot {shot.number}, {telling.clock_time(shot.unix_s, zone)[:5]}, "
                    f"{telling.day_words(shot.unix_s, zone)}"
                ),
                html.Span(", ".join(n for n in (shot.archer, shot.bow, shot.arrow) if n), className="quiet"),
                *badges(marks[shot.id]),
                dcc.Link("inspect", href=f"/shot?shot={shot.id}", title=f"Inspect shot {shot.number}"),
            ],
            className="chosen-shot",
        )
        for order, (letter, shot) in enumerate(zip(LETTERS, shots, strict=False))
    ]
    said.append(html.Button("Choose none", id=ids.COMPARE_CLEAR, className="save", type="button"))
    if gone:
        said.append(html.P(f"{gone} of the shots in this address are no longer stored.", className="quiet"))
    return said


def _excess(
    shots: Sequence[ShotRecord], flags: Sequence[Sequence[Any]], drawn: Sequence[DrawnShot], band: Band | None
) -> Any:
    told = []
    for letter, shot, over in zip(LETTERS, shots, flags, strict=False):
        spans = next((d.excess for d in drawn if d.label.startswith(letter)), ())
        lines = [*(f["text"] for f in over), *excess_words(spans)]
        if band is not None and not _alike(shot, shots[0]):
            lines.append("another archer, bow or arrow than A: not held against A's usual")
        shown: Any = html.Ul([html.Li(line) for line in lines]) if lines else " nothing out of the ordinary"
        told.append(html.Li([html.Span(letter, className="letter"), shown]))
    if band is not None:
        ground = (
            f"Grey band: what was usual before A, from {band.shots} shots of the same archer, bow and arrow. What "
            "leaves it for 2 ms or longer is drawn thick and listed here, with what is over a limit."
        )
    else:
        ground = (
            "What is over a limit. The band of the usual takes some more shots of A's archer, bow and arrow before A."
        )
    return [html.P(ground, className="quiet"), html.Ul(told, className="excess")]


def _table(shots: Sequence[ShotRecord]) -> Any:
    found = rows([shot.measures for shot in shots])
    two = len(shots) == 2
    heads = [
        "",
        *(f"{letter}, shot {s.number}" for letter, s in zip(LETTERS, shots, strict=False)),
        *(["B less A"] if two else []),
    ]
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])),
            html.Tbody(
                [
                    html.Tr(
                        [
                            html.Th(row.words, scope="row"),
                            *(html.Td(cell) for cell in row.cells),
                            *([html.Td(row.difference)] if two else []),
                        ]
                    )
                    for row in found
                ]
            ),
        ],
        className="plain-table roomy",
    )


def register(app: Dash, store: Store) -> None:
    register_marks(app, store, "compare", ids.COMPARE_URL, chosen_shots)
    draw_keeping_zoom(app, [ids.trace_graph("compare", axis) for axis in ("yaw", "pitch", "cant")])

    @app.callback(
        Output(ids.COMPARE_GRID, "rowData"),
        Output(ids.COMPARE_EMPTY, "hidden"),
        Input(ids.TOKEN, "data"),
        Input(ids.ZONE, "data"),
    )
    def _rows(_: Any, zone: str | None) -> tuple[Any, bool]:
        found = grid_rows(store, telling.zone_of(zone))
        return found, bool(found)

    app.clientside_callback(
        "(width, columns) => columns[width || 'wide']",
        Output(ids.COMPARE_GRID, "columnDefs"),
        Input(ids.WIDTH, "data"),
        Input(ids.COMPARE_COLUMNS, "data"),
    )

    # Address and ticks follow each other, so one callback answers for both and knows which of them moved.
    @app.callback(
        Output(ids.COMPARE_URL, "search"),
        Output(ids.COMPARE_GRID, "selectedRows"),
        Input(ids.COMPARE_GRID, "selectedRows"),
        Input(ids.COMPARE_URL, "search"),
        State(ids.COMPARE_URL, "pathname"),
    )
    def _choice(ticked: list[dict[str, Any]] | None, search: str | None, path: str | None) -> tuple[Any, Any]:
        return choice(ctx.triggered_id, ticked, search, path)

    @app.callback(
        Output(ids.COMPARE_URL, "search", allow_duplicate=True),
        Input(ids.COMPARE_CLEAR, "n_clicks"),
        prevent_initial_call=True,
    )
    def _clear(clicks: int | None) -> Any:
        return "" if clicks else no_update

    @app.callback(
        Output(ids.COMPARE_BODY, "hidden"),
        Output(ids.COMPARE_CHOSEN, "children"),
        Output(ids.COMPARE_EXCESS, "children"),
        Output(ids.COMPARE_TABLE, "children"),
        fresh(ids.trace_graph("compare", "yaw")),
        fresh(ids.trace_graph("compare", "pitch")),
        fresh(ids.trace_graph("compare", "cant")),
        Input(ids.COMPARE_URL, "search"),
        Input(ids.SCHEME_SHOWN, "data"),
        Input(ids.ZONE, "data"),
        Input(ids.marks("compare", "told"), "children"),
    )
    def _compare(search: str | None, scheme: Scheme | None, zone: str | None, _: Any) -> CompareView:
        return compare_view(store, chosen_shots(search), scheme or "light", telling.zone_of(zone))

    @app.callback(
        Output(ids.COMPARE_CSV_DATA, "data"),
        Input(ids.COMPARE_CSV, "n_clicks"),
        State(ids.COMPARE_URL, "search"),
        prevent_initial_call=True,
    )
    def _csv(clicks: int | None, search: str | None) -> Any:
        shots = [shot for i in chosen_shots(search) if (shot := store.shot(i)) is not None]
        if not clicks or not shots:
            return no_update
        text = csv_text([f"{s.day} shot {s.number}" for s in shots], [s.measures for s in shots], list(MEASURES))
        return dcc.send_string(text, "quiethand-comparison.csv")


def choice(
    moved: str | None, ticked: Sequence[dict[str, Any]] | None, search: str | None, path: str | None
) -> tuple[Any, Any]:
    """What the address and the ticks should be, given which of them moved last."""
    if (path or "").rstrip("/") != "/compare":
        return no_update, no_update
    named = chosen_shots(search)
    ticked_ids = [int(row["id"]) for row in ticked or []]
    if moved == ids.COMPARE_GRID:
        if set(ticked_ids) == set(named):
            return no_update, no_update
        # who was chosen first stays first; a new one comes last
        order = [i for i in named if i in ticked_ids] + [i for i in ticked_ids if i not in named]
        kept = order[:MOST_SHOTS]
        ticks = no_update if len(order) <= MOST_SHOTS else {"ids": [str(i) for i in kept]}
        return address_of(kept), ticks
    if set(ticked_ids) == set(named):
        return no_update, no_update
    return no_update, {"ids": [str(i) for i in named]}
