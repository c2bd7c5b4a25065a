"""Where the rotation at departure came from: carried in, struck, pressed and altogether, one panel for each axis."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import plotly.graph_objects as go
from quiethand.words import axis_direction, axis_words

from quiethand_dashboard.figures.palette import AXIS_COLOURS, Scheme, ink, with_alpha
from quiethand_dashboard.figures.style import axis_look, bare_figure, said

__all__ = ["PARTS", "sources_figure"]

# the contract's name, and what it is in a few words
PARTS: Final = (("carried_in", "carried in"), ("struck", "struck"), ("pressed", "pressed"))
_ORDER: Final = ("yaw", "pitch", "cant")
_WIDEST_SHARE: Final = 1.25


def sources_figure(at_departure: Mapping[str, Any], scheme: Scheme) -> go.Figure:
    """Bars in degrees from zero to each part and to the whole, with standard uncertainty; all three axes to one scale.

    Args:
        at_departure: the contract's object of that name.
    """
    colours = ink(scheme)
    figure = bare_figure(scheme, height=224, margin=(88, 14, 30, 26))
    figure.update_layout(bargap=0.38, hovermode="closest", uirevision="sources")
    widest = _widest(at_departure)
    gap = 0.035
    each = (1 - 2 * gap) / 3
    for column, axis in enumerate(_ORDER):
        number = "" if column == 0 else str(column + 1)
        left = column * (each + gap)
        parts = [*(at_departure["parts_deg"][key][axis] for key, _ in PARTS), at_departure["rotation_deg"][axis]]
        sigmas = [*(_sigma(at_departure, key, axis) for key, _ in PARTS), at_departure["rotation_sigma_deg"][axis]]
        names = [*(words for _, words in PARTS), "<b>altogether</b>"]
        colour = AXIS_COLOURS[axis]
        figure.add_trace(
            go.Bar(
                x=parts,
                y=names,
                orientation="h",
                marker={"color": [with_alpha(colour, 0.45)] * 3 + [colour], "line": {"width": 0}},
                error_x={"type": "data", "array": sigmas, "color": colours.text, "thickness": 1.4, "width": 4},
                customdata=[[axis_words(axis, p), "" if s is None else f" ± {s:.4f}"] for p, s in zip(parts, sigmas, strict=True)],
                hovertemplate="%{y}: %{customdata[0]}%{customdata[1]}<extra></extra>",
                xaxis=f"x{number}",
                yaxis=f"y{number}",
            )
        )  # fmt: skip
        figure.update_layout(
            {
                f"xaxis{number}": axis_look(scheme)
                | {"domain": [left, left + each], "range": [-widest, widest], "anchor": f"y{number}", "nticks": 5,
                   "fixedrange": True, "ticksuffix": ""},
                f"yaxis{number}": axis_look(scheme)
                | {"anchor": f"x{number}", "autorange": "reversed", "showticklabels": column == 0, "fixedrange": True,
                   "tickfont": {"size": 13, "color": colours.text}, "showgrid": False},
            }
        )  # fmt: skip
        place = {"xref": f"x{number} domain", "yref": "paper", "y": 1.0, "yanchor": "bottom", "yshift": 4}
        minus, plus = axis_direction(axis, -1.0), axis_direction(axis, 1.0)
        figure.add_annotation(said(f"<b>{axis}</b>", x=0.5, colour=colours.text, size=14, **place))
        figure.add_annotation(said(f"← {minus}", x=0, colour=colours.quiet, size=12, xanchor="left", **place))
        figure.add_annotation(said(f"{plus} →", x=1, colour=colours.quiet, size=12, xanchor="right", **place))
    return figure


def _sigma(at_departure: Mapping[str, Any], part: str, axis: str) -> float | None:
    sigma: float | None = at_departure.get("parts_sigma_deg", {}).get(part, {}).get(axis)
    return sigma


def _widest(at_departure: Mapping[str, Any]) -> float:
    shown = (*at_departure["parts_deg"].values(), at_departure["rotation_deg"])
    values = [abs(v) for part in shown for v in part.values() if v is not None]
    return max([*values, 0.01]) * _WIDEST_SHARE
