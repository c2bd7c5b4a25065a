"""One shot by itself: every sample around it, its two instants, and what a person says about it."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import ids
from quiethand_dashboard.figures.instants import HEIGHT_PX
from quiethand_dashboard.pages.marks import marks_form
from quiethand_dashboard.pages.pieces import figure, section

__all__ = ["layout"]


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Location(id=ids.SHOT_URL, refresh="callback-nav"),
            dcc.Store(id=ids.SHOT_KNOWN),
            html.Div(
                [html.H1("This shot is not stored"), dcc.Link("To the latest shot", href="/")],
                id=ids.SHOT_GONE,
                className="empty",
                hidden=True,
            ),
            html.Div(
                [
                    html.Div(id=ids.SHOT_HEAD),
                    section("What is said about it", marks_form("shot", "this shot")),
                    section(
                        "Release and departure",
                        html.P(
                            "Dashed: as computed. The thick lines can be dragged, or set in the fields; drag across "
                            "the figure to zoom, double-click to see all again. What is set by hand is kept beside "
                            "what was computed, never instead of it.",
                            className="quiet lead",
                        ),
                        figure(ids.SHOT_ACCELERATION, "acceleration sample by sample", height=HEIGHT_PX, moves=True),
                        _instants(),
                    ),
                    section(
                        "Rate of turn, sample by sample",
                        figure(ids.SHOT_RATE, "rate of turn sample by sample", height=HEIGHT_PX),
                    ),
                ],
                id=ids.SHOT_BODY,
                hidden=True,
            ),
        ]
    )


def _instants() -> html.Div:
    fields = [
        dmc.NumberInput(
            id=field_id, label=label, step=0.05, decimalScale=2, fixedDecimalScale=True, debounce=300, w=190
        )
        for field_id, label in (
            (ids.SHOT_RELEASE, "Release by hand, ms"),
            (ids.SHOT_DEPARTURE, "Departure by hand, ms"),
        )
    ]
    return html.Div(
        [
            html.Div(
                [
                    *fields,
                    dmc.TextInput(id=ids.SHOT_WHY, label="Why", placeholder="what makes you sure", w=260),
                    dmc.Button("Keep as correction", id=ids.SHOT_KEEP),
                    dmc.Button("Withdraw the correction", id=ids.SHOT_WITHDRAW, variant="default"),
                ],
                className="row",
            ),
            html.Div(id=ids.SHOT_INSTANTS, role="status", className="instants"),
            html.Div(id=ids.SHOT_TOLD, role="status", className="told"),
        ]
    )
