"""Over time: one measure of one archer with one bow and arrow, shot by shot or day by day."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import ids
from quiethand_dashboard.charted import MEASURES_SHOWN
from quiethand_dashboard.figures.control import HEIGHT_PX
from quiethand_dashboard.pages.pieces import empty, figure, section

__all__ = ["layout"]


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Location(id=ids.OVER_URL, refresh="callback-nav"),
            empty(
                ids.OVER_EMPTY,
                "Nothing to follow over time yet",
                ["See some invented weeks: ", html.Code("quiethand demo")],
                ["or bring your recordings in with ", html.Code("quiethand import FILE")],
                "Limits appear from ten shots on with the same bow and arrow.",
            ),
            html.Div(
                [html.H1("Over time"), _controls(), _shown()], id=ids.OVER_BODY, hidden=True, className="over-time"
            ),
        ]
    )


def _controls() -> html.Div:
    return html.Div(
        [
            dmc.Select(
                id=ids.OVER_WHO, label="Archer, bow and arrow", data=[], allowDeselect=False, size="md",
                className="control",
            ),
            dmc.Select(
                id=ids.OVER_MEASURE,
                label="Measure",
                data=[{"value": column, "label": shown.words} for column, shown in MEASURES_SHOWN.items()],
                allowDeselect=False,
                searchable=True,
                maxDropdownHeight=360,
                size="md",
                className="control",
            ),
            dmc.RadioGroup(
                dmc.Group(
                    [dmc.Radio("shot by shot", value="shot"), dmc.Radio("day by day", value="day")], gap="lg", mt="xs"
                ),
                id=ids.OVER_BY, label="Points", size="md", className="control",
            ),
        ],
        className="controls over-controls",
    )  # fmt: skip


def _shown() -> html.Div:
    return html.Div(
        [
            html.Div(id=ids.OVER_WORDS, className="over-words", role="status"),
            figure(ids.OVER_FIGURE, "control charts", height=HEIGHT_PX),
            section("Changes of the set-up", html.Div(id=ids.OVER_CHANGES)),
            section("How to read it", html.P(id=ids.OVER_ABOUT, className="lead quiet")),
            dmc.Group(
                [
                    dmc.Button("Save points as CSV", id=ids.OVER_CSV, variant="default"),
                    dcc.Download(id=ids.OVER_CSV_DATA),
                ]
            ),
        ]
    )
