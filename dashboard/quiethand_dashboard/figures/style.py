"""What all figures have in common: type, rules, margins, and the mode bar.

A figure here is a plain dict as Plotly's browser side reads it, numbers as base64 of float32. Plotly's Python classes
check every property as it is set, which costs 0.2 to 0.3 s for a figure of four panels (measured), more than a whole
answer may take; the tests put every figure through those classes instead.
"""

from __future__ import annotations

import base64
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from quiethand_dashboard.figures.palette import Scheme, ink

__all__ = [
    "CONFIG",
    "FONT",
    "Figure",
    "add_shape",
    "add_text",
    "add_trace",
    "axis_look",
    "bare_figure",
    "blank",
    "panel_domain",
    "plain",
]

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


Figure = dict[str, Any]


def bare_figure(scheme: Scheme, *, height: int, margin: tuple[int, int, int, int] = (52, 12, 24, 40)) -> Figure:
    """An empty figure in the page's look; `margin` is left, right, top, bottom in pixels."""
    colours = ink(scheme)
    left, right, top, bottom = margin
    layout = {
        "height": height,
        "margin": {"l": left, "r": right, "t": top, "b": bottom},
        "paper_bgcolor": colours.page,
        "plot_bgcolor": colours.page,
        "font": {"family": FONT, "size": 13, "color": colours.text},
        "showlegend": False,
        "hovermode": "x",
        "hoverlabel": {
            "bgcolor": colours.page,
            "font": {"family": FONT, "color": colours.text},
            "bordercolor": colours.quiet,
        },
        "dragmode": "zoom",
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": colours.quiet, "activecolor": colours.text},
        "annotations": [],
        "shapes": [],
    }
    return {"data": [], "layout": layout}


def add_trace(figure: Figure, kind: str, **properties: Any) -> None:
    """Add a trace of Plotly's type `kind` ("scatter", "bar"); numpy arrays go as typed arrays."""
    packed = {k: _packed(v) if isinstance(v, np.ndarray) else v for k, v in properties.items()}
    figure["data"].append({"type": kind, **packed})


def add_text(figure: Figure, text: str, *, x: float, y: float, colour: str, size: int = 13, **more: Any) -> None:
    """Add a text without an arrow; `more` are Plotly's own names for an annotation."""
    look = {"text": text, "x": x, "y": y, "showarrow": False, "font": {"size": size, "color": colour}}
    figure["layout"]["annotations"].append(look | more)


def add_shape(figure: Figure, kind: str, **properties: Any) -> None:
    """Add a "line" or a "rect"."""
    figure["layout"]["shapes"].append({"type": kind, **properties})


def _packed(values: NDArray[Any]) -> dict[str, str]:
    """An array of shape (n,) or (n, k) as Plotly's browser side unpacks it: little-endian float32 in base64."""
    flat = np.ascontiguousarray(values, dtype="<f4")
    packed = {"dtype": "f4", "bdata": base64.b64encode(flat.tobytes()).decode("ascii")}
    if flat.ndim > 1:
        packed["shape"] = ", ".join(str(n) for n in flat.shape)
    return packed


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


def panel_domain(row: int, rows: int, *, heading: float = 0.16, foot: float = 0.06) -> tuple[float, float]:
    """Bottom and top of a panel in a column of `rows`, each with room for its heading above; the last ends at 0.

    `heading` and `foot` are shares of a panel's height with its heading.
    """
    each = 1.0 / (rows - foot)
    top = 1.0 - row * each
    return max(top - each * (1 - foot), 0.0), top - each * heading


def blank(scheme: Scheme, text: str, *, height: int = 160) -> Figure:
    """A figure that says why there is nothing to draw."""
    figure = bare_figure(scheme, height=height, margin=(8, 8, 8, 8))
    figure["layout"] |= {"xaxis": {"visible": False}, "yaxis": {"visible": False}}
    add_text(figure, text, x=0.5, y=0.5, colour=ink(scheme).quiet, xref="paper", yref="paper")
    return figure
