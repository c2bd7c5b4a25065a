"""Compare sets: two sets of shots, narrowed by who, what and when, and what tells them apart."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import ids
from quiethand_dashboard.chosen_sets import WHICH
from quiethand_dashboard.figures.sets import SETS_PX, SPREAD_PX
from quiethand_dashboard.pages.pieces import AXIS_ORDER, axis_heading, empty, figure, section, tabs

__all__ = ["COMPARE_TABS", "layout"]

COMPARE_TABS: Final = (("/compare", "Single shots"), ("/compare-sets", "Sets of shots"))

_LABELS: Final = {
    "archer": "Archer", "bow": "Bow", "arrow": "Arrow", "day_from": "From", "day_to": "To", "tag": "Tag",
    "flagged": "Over a limit or unusual",
}  # fmt: skip


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Location(id=ids.SETS_URL, refresh="callback-nav"),
            empty(
                ids.SETS_EMPTY,
                "Nothing to compare yet",
                ["See some invented weeks: ", html.Code("quiethand demo")],
                ["or bring your recordings in with ", html.Code("quiethand import FILE")],
                "Two sets of five shots or more can be compared: two arrows, two evenings, before and after a change.",
            ),
            html.Div(
                [
                    html.H1("Compare sets of shots"),
                    tabs(COMPARE_TABS, "/compare-sets"),
                    html.Div([_set(which) for which in WHICH], className="two sets"),
                    html.Div(id=ids.SETS_WORDS, className="over-words", role="status"),
                    _table(),
                    _figures(),
                ],
                id=ids.SETS_BODY,
                hidden=True,
            ),
        ]
    )


def _set(which: str) -> html.Fieldset:
    line = html.Span(className=f"line line-{WHICH.index(which)}", **{"aria-hidden": "true"})
    return html.Fieldset(
        [
            html.Legend([html.Span(which.upper(), className="letter"), line]),
            html.Div([_select(which, name) for name in _LABELS], className="set-fields"),
            html.Div(id=f"{ids.SETS_COUNTS}-{which}", role="status", className="quiet"),
        ],
        className="set",
    )


def _select(which: str, name: str) -> dmc.Select:
    data: list[Any] = []
    if name == "flagged":
        data = [{"value": "yes", "label": "only such"}, {"value": "no", "label": "none such"}]
    return dmc.Select(
        id=ids.set_field(which, name), label=_LABELS[name], data=data, clearable=True, searchable=name != "flagged",
        placeholder={"day_from": "the first day", "day_to": "the last day"}.get(name, "any"),
        clearButtonProps={"aria-label": f"Any {_LABELS[name].lower()}"}, nothingFoundMessage="none such",
    )  # fmt: skip


def _table() -> html.Section:
    return section(
        "Differences",
        html.Div(
            id=ids.SETS_TABLE, className="wide", tabIndex="0", role="region", **{"aria-label": "Differences"}
        ),
        html.P(
            "The interval holds the true difference in 95 of 100 such comparisons. “Could show”: the size of a true "
            "difference that shots of this number and scatter would tell from chance in 8 of 10 tries; a smaller one "
            "may go unseen, so that “not told apart” is not the same as “alike”.",
            className="quiet lead",
        ),
        dmc.Group(
            [dmc.Button("Save differences as CSV", id=ids.SETS_CSV, variant="default"),
             dcc.Download(id=ids.SETS_CSV_DATA)]
        ),
    )  # fmt: skip


def _figures() -> html.Section:
    return section(
        "Against milliseconds from release",
        html.P(
            "Thick: the middle shot of a set at each instant, A solid and B dashed. Band: eight in ten of its shots "
            "(A filled, B hatched). Thin: each shot.",
            className="quiet",
        ),
        html.Div(
            [
                html.Div(
                    [
                        axis_heading(axis),
                        figure(ids.trace_graph("sets", axis), f"both sets' traces of {axis}", height=SETS_PX),
                        figure(ids.spread_graph(axis), f"each shot's {axis}, set beside set", height=SPREAD_PX),
                    ]
                )
                for axis in AXIS_ORDER
            ],
            className="axes",
        ),
    )
