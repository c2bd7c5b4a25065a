"""Bow and arrow: what the launch model says, and what another arrow or let-off would make of it."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html

from quiethand_dashboard import ids
from quiethand_dashboard.pages.pieces import figure, section

__all__ = ["layout"]


def layout() -> html.Div:
    return html.Div(
        [
            html.H1("Bow and arrow"),
            html.P(
                "The longer the arrow stays on the string, the more of a fault reaches the target. Move the sliders to "
                "see what another arrow or another let-off would make of it.",
                className="quiet lead",
            ),
            html.Div(
                [
                    dmc.Select(
                        id=ids.LAUNCH_BOW,
                        label="Bow and archer",
                        data=[],
                        allowDeselect=False,
                        size="md",
                        className="control",
                    ),
                    _slider(ids.LAUNCH_MASS, "Arrow's mass", ids.LAUNCH_MASS_WORDS, minimum=12, maximum=45, step=0.1),
                    _slider(ids.LAUNCH_LET_OFF, "Let-off", ids.LAUNCH_LET_OFF_WORDS, minimum=0, maximum=95, step=1),
                ],
                className="controls",
            ),
            html.Div(id=ids.LAUNCH_CAUTIONS, role="status", className="cautions"),
            html.Div(id=ids.LAUNCH_FIGURES, className="big-figures launch-figures"),
            html.P(id=ids.LAUNCH_ABOUT, className="quiet"),
            html.Div(
                [
                    section("Draw-force curve", figure(ids.LAUNCH_CURVE, "the draw-force curve", height=460)),
                    section(
                        "From release until the arrow leaves",
                        figure(ids.LAUNCH_STROKE, "the string's travel, speed and force against time", height=460),
                    ),
                ],
                className="two",
            ),
            section(
                "Arrows side by side",
                html.Div(
                    [
                        html.Div(
                            id=ids.LAUNCH_ARROWS,
                            className="wide",
                            tabIndex="0",
                            role="region",
                            **{"aria-label": "Arrows side by side"},
                        ),
                        figure(
                            ids.LAUNCH_ARROWS_FIGURE,
                            "time on the string and shift against the arrow's mass",
                            height=440,
                        ),
                    ],
                    className="two table-first",
                ),
            ),
        ],
        className="launch",
    )


def _slider(slider_id: str, label: str, words_id: str, **bounds: Any) -> html.Div:
    return html.Div(
        [
            html.Div([html.Span(label, className="control-label"), html.Span(id=words_id, className="control-words")]),
            dmc.Slider(
                id=slider_id,
                min=bounds["minimum"],
                max=bounds["maximum"],
                step=bounds["step"],
                value=bounds["minimum"],
                updatemode="drag",
                label=None,
                size="lg",
                thumbSize=26,
                thumbLabel=label,
            ),
        ],
        className="control",
    )
