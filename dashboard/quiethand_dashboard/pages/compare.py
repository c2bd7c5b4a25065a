"""Compare: choose a few shots from the table, see them side by side."""

from __future__ import annotations

from typing import Any, Final

import dash_ag_grid as dag
import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import ids
from quiethand_dashboard.pages.marks import marks_form
from quiethand_dashboard.pages.pieces import AXIS_ORDER, axis_heading, empty, figure, section, tabs
from quiethand_dashboard.pages.sets import COMPARE_TABS

__all__ = ["layout"]

_TEXT: Final[dict[str, Any]] = {
    "filter": "agTextColumnFilter",
    "floatingFilter": True,
    "suppressFloatingFilterButton": True,
    "suppressHeaderFilterButton": True,
}
_NUMBER: Final[dict[str, Any]] = {"type": "rightAligned"}


def _said(digits: int, plus: str = "", minus: str = "") -> dict[str, Any]:
    """A number that sorts as one and is shown with fixed decimals and its sign as a word."""
    way = f" + (params.value < 0 ? ' {minus}' : ' {plus}')" if plus else ""
    shown = f"params.value == null ? '–' : d3.format('.{digits}f')(Math.abs(params.value)){way}"
    return {**_NUMBER, "valueFormatter": {"function": shown}}


# On a telephone: which shot, with what, and where it pointed; the rest is in the table below once it is chosen.
NARROW_COLUMNS: Final[list[dict[str, Any]]] = [
    {"field": "when", "headerName": "Shot", "minWidth": 112, "flex": 1, **_TEXT},
    {"field": "arrow", "headerName": "Arrow", "minWidth": 84, "flex": 1, **_TEXT},
    {"field": "right_mm", "headerName": "mm", "width": 92, **_said(1, "right", "left")},
]

COLUMNS: Final[list[dict[str, Any]]] = [
    {"field": "day", "headerName": "Day", "minWidth": 115, "flex": 1, **_TEXT},
    {"field": "time", "headerName": "Time", "width": 95},
    {"field": "number", "headerName": "Shot", "width": 80, **_NUMBER},
    {"field": "archer", "headerName": "Archer", "minWidth": 120, "flex": 1, **_TEXT},
    {"field": "bow", "headerName": "Bow", "minWidth": 130, "flex": 1.3, **_TEXT},
    {"field": "arrow", "headerName": "Arrow", "minWidth": 130, "flex": 1.5, **_TEXT},
    {"field": "flagged", "headerName": "Flagged", "minWidth": 120, "flex": 1.2, **_TEXT},
    {"field": "noted", "headerName": "Noted", "minWidth": 110, "flex": 1, **_TEXT},
    {"field": "on_string_ms", "headerName": "On string, ms", "width": 135, **_said(2)},
    {"field": "right_mm", "headerName": "Sideways, mm", "width": 140, **_said(1, "right", "left")},
    {"field": "up_mm", "headerName": "Height, mm", "width": 130, **_said(1, "high", "low")},
]


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Location(id=ids.COMPARE_URL, refresh="callback-nav"),
            dcc.Store(id=ids.COMPARE_COLUMNS, data={"wide": COLUMNS, "narrow": NARROW_COLUMNS}),
            empty(
                ids.COMPARE_EMPTY,
                "Nothing to compare yet",
                ["Shots appear here once some are stored: ", html.Code("quiethand demo"), " brings some weeks of them"],
                ["or bring recordings in with ", html.Code("quiethand import FILE")],
            ),
            html.Div(
                [
                    html.H1("Compare shots"),
                    tabs(COMPARE_TABS, "/compare"),
                    html.P(
                        "Tick two to six shots; the first is A. Filter below a column's name: a day, a lane, an arrow, "
                        "or a word such as “over”. The address of this page holds the choice: keep it to come back.",
                        className="quiet",
                    ),
                    _grid(),
                    html.Div(id=ids.COMPARE_CHOSEN, className="chosen", role="status"),
                    html.Div(
                        [_flagged(), _traces(), _table(), _marks()],
                        id=ids.COMPARE_BODY,
                        hidden=True,
                        className="compare-body",
                    ),
                ],
                className="compare",
            ),
        ]
    )


def _grid() -> dag.AgGrid:
    return dag.AgGrid(
        id=ids.COMPARE_GRID,
        columnDefs=COLUMNS,
        rowData=[],
        getRowId="params.data.id",
        className="grid",
        defaultColDef={"sortable": True, "resizable": True, "suppressHeaderMenuButton": True},
        dashGridOptions={
            "rowSelection": {
                "mode": "multiRow",
                "enableClickSelection": True,
                "enableSelectionWithoutKeys": True,
                "headerCheckbox": False,
            },
            "animateRows": False,
        },
        style={"height": "344px"},
    )


def _flagged() -> html.Section:
    return section("Outside the usual while the arrow was on the string", html.Div(id=ids.COMPARE_EXCESS))


def _traces() -> html.Section:
    return section(
        "Against milliseconds from release",
        html.Div(
            [
                html.Div(
                    [axis_heading(axis), figure(ids.trace_graph("compare", axis), f"traces of {axis}", height=648)]
                )
                for axis in AXIS_ORDER
            ],
            className="axes",
        ),
    )


def _table() -> html.Section:
    return section(
        "Figures side by side",
        html.Div(
            id=ids.COMPARE_TABLE,
            className="wide",
            tabIndex="0",
            role="region",
            **{"aria-label": "Figures side by side"},
        ),
        dmc.Group(
            [
                dmc.Button("Save figures as CSV", id=ids.COMPARE_CSV, variant="default"),
                dcc.Download(id=ids.COMPARE_CSV_DATA),
            ]
        ),
    )


def _marks() -> html.Section:
    return section("What is said about them", marks_form("compare", "the chosen shots"))
