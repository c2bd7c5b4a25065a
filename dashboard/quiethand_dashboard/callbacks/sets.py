"""Comparing sets: the address holds what narrows A and B; fields, words, table and figures follow it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from quiethand.errors import InputError
from quiethand.judge.comparison import Comparison, why_no_comparison
from quiethand.judge.comparison_words import could_show_words, excluded_words, figure, in_words

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.fetched import GRID_MS, setup_of
from quiethand_dashboard.callbacks.judged import JUDGED_COLUMNS, Judge
from quiethand_dashboard.callbacks.zoom import draw_keeping_zoom, fresh
from quiethand_dashboard.charted import MEASURES_SHOWN
from quiethand_dashboard.chosen_sets import (
    COMPARED,
    FIELDS,
    WHICH,
    Chosen,
    address_of,
    chosen,
    comparisons,
    csv_text,
)
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.sets import Spread, sets_figure, spread_figure, summary
from quiethand_dashboard.figures.style import Figure, blank
from quiethand_dashboard.pages.pieces import AXIS_ORDER

if TYPE_CHECKING:
    from quiethand.store.store import Store

__all__ = ["SetsView", "compared", "options", "register", "rows_of", "sets_figures", "sets_view"]

MOST_SHOTS: Final = 300  # the newest of a set; more would narrow the interval by less than it could be trusted
MOST_DRAWN: Final = 24  # traces of a set: a band of eight in ten is as good as settled
_COLUMNS: Final = tuple(dict.fromkeys([*COMPARED, *JUDGED_COLUMNS]))
_AXIS_OF: Final = {"pointing_right_mm": "right", "pointing_up_mm": "up"}


class SetsView(NamedTuple):
    """What is read: the outputs in their order."""

    empty_hidden: bool
    body_hidden: bool
    counts_a: Any
    counts_b: Any
    words: Any
    table: Any


def rows_of(store: Store, sets: Chosen, which: str, judge: Judge) -> list[dict[str, Any]]:
    """The shots of a set, the oldest first; excluded ones are not among them."""
    found = store.shot_rows(sets.filter(which), limit=MOST_SHOTS, measures=_COLUMNS)[::-1]
    wanted = sets.flagged(which)
    return found if wanted is None else [row for row in found if _flagged(judge, row) == wanted]


def _flagged(judge: Judge, row: Mapping[str, Any]) -> bool:
    return any(flag["verdict"] in ("over", "unusual") for flag in judge.row_flags(row))


def compared(
    store: Store, sets: Chosen
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], list[Comparison], dict[str, str]]:
    """The rows of both sets, what can be compared of them, and why the rest can't."""
    judge = Judge(store)
    a, b = (rows_of(store, sets, which, judge) for which in WHICH)
    if why_no_comparison(len(a), len(b)) is not None:
        return a, b, [], {}
    distances = {_distance_m(store, setup_id) for setup_id in {row["setup_id"] for row in (*a, *b)}}
    found, refused = comparisons(a, b, distances.pop() if len(distances) == 1 else None)
    return a, b, found, refused


def _distance_m(store: Store, setup_id: int) -> float | None:
    setup = setup_of(store, setup_id)
    return None if setup is None else setup.target.distance_m


def sets_view(store: Store, search: str | None) -> SetsView:
    shooters = store.shooters()
    if not shooters:
        return SetsView(False, True, "", "", [], [])
    sets = chosen(search, shooters)
    a, b, found, refused = compared(store, sets)
    return SetsView(True, False, _count(a), _count(b), _words(store, sets, a, b, found, refused), _table(found))


def _count(rows: Sequence[Mapping[str, Any]]) -> str:
    if not rows:
        return "No shot fits; take a restriction out."
    days = sorted({row["day"] for row in rows})
    when = telling.day_in_words(days[0])
    if len(days) > 1:
        when = f"{len(days)} days, {when} to {telling.day_in_words(days[-1])}"
    most = f", the newest {MOST_SHOTS}" if len(rows) == MOST_SHOTS else ""
    return f"{len(rows)} shot{'s' if len(rows) > 1 else ''}{most}: {when}"


def _words(
    store: Store,
    sets: Chosen,
    a: Sequence[Mapping[str, Any]],
    b: Sequence[Mapping[str, Any]],
    found: Sequence[Comparison],
    refused: Mapping[str, str],
) -> list[Any]:
    said: list[str] = []
    why = why_no_comparison(len(a), len(b))
    if why is not None:
        said.append(f"A and B have {why}.")
    both = len({row["id"] for row in a} & {row["id"] for row in b})
    if both:
        said.append(f"{both} shots are in both sets: they make the sets look more alike than they are.")
    if found:
        said.append(f"B against A. {could_show_words(found[0].could_show, found[0].unit)}")
        told = [c for c in found if c.shown]
        for c in told:
            shown = MEASURES_SHOWN[c.measure]
            axis = _AXIS_OF.get(c.measure, shown.axis if shown.plus else None)
            said += [" ".join(in_words(c, name=shown.words, axis=axis)).replace("the second set lies", "B lies")]
        if not told:
            said.append(f"In none of {len(found)} measures do A and B differ by more than chance explains.")
    said += [f"{MEASURES_SHOWN[name].words if name else 'These sets'}: {why}." for name, why in refused.items()]
    out = excluded_words(*(store.shot_count(replace(sets.filter(w), excluded=True)) for w in WHICH))
    if out is not None:
        said.append(out)
    return [html.P(sentence) for sentence in said]


def _table(found: Sequence[Comparison]) -> Any:
    if not found:
        return html.P("A table of differences appears when both sets have five shots or more.", className="quiet")
    heads = ("", "A, mean", "B, mean", "B less A", "95 % interval", "Could show", "Told apart")
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])),
            html.Tbody([_row(c) for c in found]),
        ],
        className="plain-table roomy dense",
    )


def _row(c: Comparison) -> html.Tr:
    shown = MEASURES_SHOWN[c.measure]
    told = "yes" if c.shown else "no"
    cells = (
        shown.said(c.a), shown.said(c.b), _difference(c, c.difference),
        _interval(c), figure(c.could_show.smallest, c.unit), told,
    )  # fmt: skip
    return html.Tr([html.Th(shown.words, scope="row"), *(html.Td(cell) for cell in cells)], className="" if told == "no"
                   else "shown")  # fmt: skip


def _difference(c: Comparison, value: float) -> str:
    shown = MEASURES_SHOWN[c.measure]
    return shown.said(value) if shown.plus else f"{'+' if value >= 0 else '−'}{figure(abs(value), c.unit)}"


def _interval(c: Comparison) -> str:
    low, high = _difference(c, c.low), _difference(c, c.high)
    return f"{low.replace(f' {c.unit}', '', 1)} to {high}"  # the unit once


def sets_figures(store: Store, search: str | None, scheme: Scheme) -> list[Figure]:
    """Traces by axis, then each shot by axis."""
    sets = chosen(search, store.shooters())
    judge = Judge(store)
    drawn, spreads = [], []
    for which in WHICH:
        rows = rows_of(store, sets, which, judge)
        # evenly through the set, so that a long one is not shown by its last evening alone
        picked = (
            [rows[i]["id"] for i in np.unique(np.linspace(0, len(rows) - 1, MOST_DRAWN).astype(int))] if rows else []
        )
        windows = [row["time_on_string_s"] * 1e3 for row in rows if row["time_on_string_s"] is not None]
        traces = list(store.traces(picked).values())
        drawn.append(summary(which.upper(), GRID_MS[::2], traces, float(np.median(windows)) if windows else None))
        spreads.append(rows)
    keep = search or "sets"
    lines = [
        sets_figure(axis, drawn, scheme, keep=keep)
        if any(s.middle for s in drawn)
        else blank(scheme, "No traces are stored for these shots.")
        for axis in AXIS_ORDER
    ]
    dots = [
        spread_figure(
            axis,
            [
                Spread(which.upper(), [row[f"rotation_{axis}_deg"] for row in rows
                                       if row[f"rotation_{axis}_deg"] is not None])
                for which, rows in zip(WHICH, spreads, strict=True)
            ],
            scheme,
        )
        for axis in AXIS_ORDER
    ]  # fmt: skip
    return [*lines, *dots]


def options(store: Store) -> dict[str, list[str]]:
    """What the fields can be set to."""
    days = store.days()
    return {
        "archer": [n for n in store.archers() if n], "bow": [n for n in store.bows() if n],
        "arrow": [n for n in store.arrows() if n], "day_from": days, "day_to": days, "tag": store.tags(),
    }  # fmt: skip


def register(app: Dash, store: Store) -> None:
    draw_keeping_zoom(app, [ids.trace_graph("sets", axis) for axis in AXIS_ORDER])
    fields = [(which, name) for which in WHICH for name in FIELDS]

    @app.callback(
        *(Output(ids.set_field(which, name), "data") for which, name in fields if name != "flagged"),
        Input(ids.TOKEN, "data"),
    )
    def _options(_: Any) -> list[Any]:
        found = options(store)
        return [
            [{"value": v, "label": telling.day_in_words(v) if name.startswith("day") else v} for v in found[name]]
            for _which, name in fields
            if name != "flagged"
        ]

    # Address and fields follow each other, so one callback answers for all and knows which of them moved.
    @app.callback(
        Output(ids.SETS_URL, "search"),
        *(Output(ids.set_field(which, name), "value") for which, name in fields),
        Input(ids.SETS_URL, "search"),
        *(Input(ids.set_field(which, name), "value") for which, name in fields),
        State(ids.SETS_URL, "pathname"),
    )
    def _follow(search: str | None, *rest: Any) -> list[Any]:
        *values, path = rest
        if (path or "").rstrip("/") != "/compare-sets":
            return [no_update] * (1 + len(fields))
        if str(ctx.triggered_id).startswith(("sets-a-", "sets-b-")):
            given = dict(zip(fields, values, strict=True))
            now = address_of(*({name: given[which, name] for name in FIELDS} for which in WHICH))
            return [no_update if now == search else now, *([no_update] * len(fields))]
        sets = chosen(search, store.shooters())
        wanted = [getattr(sets, which).get(name) for which, name in fields]
        return [no_update, *(no_update if v == w else w for v, w in zip(values, wanted, strict=True))]

    @app.callback(
        Output(ids.SETS_EMPTY, "hidden"),
        Output(ids.SETS_BODY, "hidden"),
        Output(f"{ids.SETS_COUNTS}-a", "children"),
        Output(f"{ids.SETS_COUNTS}-b", "children"),
        Output(ids.SETS_WORDS, "children"),
        Output(ids.SETS_TABLE, "children"),
        Input(ids.SETS_URL, "search"),
        Input(ids.TOKEN, "data"),
    )
    def _view(search: str | None, _: Any) -> SetsView:
        return sets_view(store, search)

    @app.callback(
        *(fresh(ids.trace_graph("sets", axis)) for axis in AXIS_ORDER),
        *(Output(ids.spread_graph(axis), "figure") for axis in AXIS_ORDER),
        Input(ids.SETS_URL, "search"),
        Input(ids.TOKEN, "data"),
        Input(ids.SCHEME_SHOWN, "data"),
    )
    def _figures(search: str | None, _: Any, scheme: Scheme | None) -> list[Figure]:
        return sets_figures(store, search, scheme or "light")

    @app.callback(
        Output(ids.SETS_CSV_DATA, "data"),
        Input(ids.SETS_CSV, "n_clicks"),
        State(ids.SETS_URL, "search"),
        prevent_initial_call=True,
    )
    def _csv(clicks: int | None, search: str | None) -> Any:
        _, _, found, _ = compared(store, chosen(search, store.shooters()))
        if not clicks or not found:
            raise InputError("there is no difference to save", do="choose two sets of five shots or more")
        return dcc.send_string(csv_text(found), "quiethand-differences.csv")
