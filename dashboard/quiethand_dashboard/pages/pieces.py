"""Pieces that pages share: a heading, a figure with its buttons, an empty state."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import ids
from quiethand_dashboard.figures.palette import AXIS_COLOURS
from quiethand_dashboard.figures.style import CONFIG

__all__ = ["AXIS_ORDER", "AXIS_SAYS", "axis_heading", "big_figure", "empty", "figure", "section", "tabs"]

# yaw first: it is what moves an arrow sideways, and what most archers come to look for
AXIS_ORDER: Final = ("yaw", "pitch", "cant")
AXIS_SAYS: Final = {
    "cant": "leaning over",
    "pitch": "nose up and down",
    "yaw": "nose left and right",
}


def section(title: str, *children: Any, **more: Any) -> html.Section:
    return html.Section([html.H2(title), *children], className="section", **more)


def tabs(pages: Sequence[tuple[str, str]], here: str) -> html.Nav:
    """Links between pages that belong together, the open one marked for eye and ear."""
    return html.Nav(
        [
            dmc.Anchor(
                name, href=path, refresh=False, unstyled=True,
                className="way-link here" if path == here else "way-link",
                **({"aria-current": "page"} if path == here else {}),
            )
            for path, name in pages
        ],
        className="way-links",
        **{"aria-label": "Ways to compare"},
    )  # fmt: skip


def axis_heading(axis: str) -> html.H3:
    """The axis' name with its colour beside it, and what it is in words."""
    return html.H3(
        [
            html.Span(className="swatch", style={"background": AXIS_COLOURS[axis]}),
            axis.capitalize(),
            html.Span(AXIS_SAYS[axis], className="quiet"),
        ],
        className="axis-heading",
    )


def big_figure(title: str, number: str, unit: str, below: Any, rank: str) -> html.Div:
    """A figure to be read from afar; `rank` is "first" or "second" in size."""
    return html.Div(
        [
            html.Div(title, className="figure-title"),
            html.Div([html.Span(number, className="number"), " ", html.Span(unit, className="unit")]),
            html.Div(below, className="quiet figure-below"),
        ],
        className=f"big-figure {rank}",
    )


# What a graph holds before its figure comes; else the browser would draw axes with nothing in them.
_WAITING: Final[dict[str, Any]] = {
    "data": [],
    "layout": {
        "xaxis": {"visible": False},
        "yaxis": {"visible": False},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
    },
}


def figure(graph_id: str, label: str, *, height: int, moves: bool = False, still: bool = False) -> html.Figure:
    """A graph with its name for screen readers and buttons that save it.

    Args:
        height: in pixels, keeps its place until it is drawn.
        moves: its lines can be dragged.
        still: it has no zoom and no hover, so that a tap is the page's own.
    """
    config = CONFIG | ({"edits": {"shapePosition": True}} if moves else {}) | ({"staticPlot": True} if still else {})
    return html.Figure(
        [
            dcc.Store(id=ids.fresh_figure(graph_id)),
            html.Div(
                dcc.Graph(id=graph_id, figure=_WAITING, config=config, style={"minHeight": f"{height}px"}),
                role="group",
                **{"aria-label": label},
            ),
            html.Div(
                [
                    "Save as ",
                    *(
                        html.Button(
                            kind.upper(),
                            id=ids.save_button(graph_id, kind),
                            className="save",
                            type="button",
                            **{"aria-label": f"Save {label} as {kind.upper()}"},
                        )
                        for kind in ("png", "svg", "csv")
                    ),
                ],
                className="save-row",
            ),
        ],
        className="figure",
    )


def empty(component_id: str, title: str, *steps: Any) -> html.Div:
    """What to do when there is nothing to show yet."""
    return html.Div(
        dmc.Stack([html.H1(title), html.Ol([html.Li(step) for step in steps])], gap="md"),
        id=component_id,
        className="empty",
        hidden=True,
    )
