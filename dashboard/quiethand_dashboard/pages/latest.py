"""The latest shot: at a glance above, its traces below, the day's last shots beside."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import ids
from quiethand_dashboard.pages.pieces import AXIS_ORDER, axis_heading, empty, figure, section

__all__ = ["layout"]


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Store(id=ids.LATEST_SHOWN),
            empty(
                ids.LATEST_EMPTY,
                "No shot yet",
                ["See it work without a sensor: ", html.Code("quiethand demo")],
                [
                    "With a sensor plugged in, find its port with ",
                    html.Code("quiethand ports"),
                    " and start ",
                    html.Code("quiethand live --port PORT"),
                ],
                ["Have recordings already? ", html.Code("quiethand import FILE")],
                "Then shoot. The shot appears here by itself.",
            ),
            html.Div(
                [
                    _glance(),
                    html.Aside(_beside(), className="latest-aside", **{"aria-label": "The day's last shots"}),
                    _traces(),
                ],
                id=ids.LATEST_BODY,
                className="latest",
                hidden=True,
            ),
        ]
    )


def _glance() -> html.Div:
    return html.Div(
        [
            html.Div(id=ids.LATEST_HEAD, className="shot-head"),
            html.H1(id=ids.LATEST_SENTENCE, className="sentence"),
            html.Div(id=ids.LATEST_FIGURES, className="big-figures"),
            html.Div(id=ids.LATEST_FLAGS, className="flags", role="status"),
        ],
        className="latest-glance",
    )


def _traces() -> html.Div:
    return html.Div(
        [
            section(
                "Where the turn came from",
                html.P(
                    "Carried in: the bow was turning already at the release. Struck: a knock within the first 4 ms. "
                    "Pressed: a push that lasted. Degrees; the thin bars are one standard uncertainty.",
                    className="quiet",
                ),
                html.Div(
                    [
                        html.Div([axis_heading(axis), figure(ids.parts_graph(axis), f"sources of {axis}", height=200)])
                        for axis in AXIS_ORDER
                    ],
                    className="axes",
                ),
            ),
            section(
                "While the arrow was on the string",
                html.P(id=ids.LATEST_BAND, className="quiet"),
                html.Div(
                    [
                        html.Div(
                            [
                                axis_heading(axis),
                                figure(ids.trace_graph("latest", axis), f"traces of {axis}", height=648),
                            ]
                        )
                        for axis in AXIS_ORDER
                    ],
                    className="axes",
                ),
                _more(),
            ),
        ],
        className="latest-traces",
    )


def _more() -> dmc.Accordion:
    panels = (("What the uncertainty is made of", ids.LATEST_BUDGET), ("Notes on this shot", ids.LATEST_NOTES))
    return dmc.Accordion(
        [
            dmc.AccordionItem([dmc.AccordionControl(title), dmc.AccordionPanel(html.Div(id=panel_id))], value=panel_id)
            for title, panel_id in panels
        ],
        multiple=True,
        chevronPosition="left",
        className="more",
    )


def _beside() -> list[html.Section]:
    return [
        section(
            "Last shots of the day",
            figure(ids.LATEST_RECENT_FIGURE, "shift at the target, last shots", height=300),
            html.Div(id=ids.LATEST_RECENT),
        ),
        section("Not counted as shots", html.Div(id=ids.LATEST_REJECTED)),
    ]
