"""What all figures have in common: type, rules, margins, and the mode bar."""

from __future__ import annotations

from typing import Any, Final

import plotly.graph_objects as go

from quiethand_dashboard.figures.palette import Scheme, ink

__all__ = ["CONFIG", "FONT", "blank", "bare_figure", "plain", "said"]

FONT: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif"

CONFIG: Final[dict[str, Any]] = {
    "displaylogo": False,
    "displayModeBar": "hover",
    "responsive": True,
    "modeBarButtonsToRemove": ["select2d", "lasso2d", "autoScale2d", "zoomIn2d", "zoomOut2d"],
    "toImageButtonOptions": {"format": "png", "scale": 2, "filename": "quiethand"},
}


def plain(text: str) -> str:
    """A user's text for a figure. Plotly reads a few HTML tags in any text, so what could start one is escaped."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def bare_figure(scheme: Scheme, *, height: int, margin: tuple[int, int, int, int] = (52, 12, 24, 40)) -> go.Figure:
    """An empty figure in the page's look; `margin` is left, right, top, bottom in pixels."""
    colours = ink(scheme)
    left, right, top, bottom = margin
    figure = go.Figure()
    figure.update_layout(
        template="none",
        height=height,
        margin={"l": left, "r": right, "t": top, "b": bottom},
        paper_bgcolor=colours.page,
        plot_bgcolor=colours.page,
        font={"family": FONT, "size": 13, "color": colours.text},
        showlegend=False,
        hovermode="x",
        hoverlabel={"bgcolor": colours.page, "font": {"family": FONT, "color": colours.text}, "bordercolor": colours.quiet},
        dragmode="zoom",
        modebar={"bgcolor": "rgba(0,0,0,0)", "color": colours.quiet, "activecolor": colours.text},
    )
    figure.update_xaxes(**axis_look(scheme))
    figure.update_yaxes(**axis_look(scheme))
    return figure


def axis_look(scheme: Scheme) -> dict[str, Any]:
    """Thin rules and quiet numbers, for x and y alike."""
    colours = ink(scheme)
    return {
        "gridcolor": colours.rule,
        "griddash": "1px,3px",
        "zeroline": True,
        "zerolinecolor": colours.quiet,
        "zerolinewidth": 1,
        "showline": False,
        "tickfont": {"size": 12, "color": colours.quiet},
        "title": {"font": {"size": 13, "color": colours.quiet}, "standoff": 6},
        "automargin": False,
        "fixedrange": False,
    }


def said(text: str, *, x: float, y: float, colour: str, size: int = 13, **more: Any) -> dict[str, Any]:
    """A text without an arrow; more are Plotly's own names for an annotation."""
    return {"text": text, "x": x, "y": y, "showarrow": False, "font": {"size": size, "color": colour}, **more}


def blank(scheme: Scheme, text: str, *, height: int = 160) -> go.Figure:
    """A figure that says why there is nothing to draw."""
    figure = bare_figure(scheme, height=height, margin=(8, 8, 8, 8))
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    figure.add_annotation(said(text, x=0.5, y=0.5, colour=ink(scheme).quiet, xref="paper", yref="paper"))
    return figure
