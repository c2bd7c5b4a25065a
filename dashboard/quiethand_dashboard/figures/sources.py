"""Where the rotation at departure came from: carried in, struck, pressed and altogether."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from quiethand.words import axis_direction, axis_words

from quiethand_dashboard.figures.palette import AXIS_COLOURS, Scheme, ink, with_alpha
from quiethand_dashboard.figures.style import Figure, add_text, add_trace, axis_look, bare_figure

__all__ = ["PARTS", "sources_figure"]

# the contract's name, and what it is in a few words
PARTS: Final = (("carried_in", "carried in"), ("struck", "struck"), ("pressed", "pressed"))


_LEFT_PX: Final = 86  # room for the parts' names


def sources_figure(at_departure: Mapping[str, Any], axis: str, scheme: Scheme) -> Figure:
    """Bars in degrees from zero to each part and to the whole of one axis, with standard uncertainty.

    The scale is that of the largest of all three axes, so that the three figures can be read against each other.

    Args:
        at_departure: the contract's object of that name.
        axis: "cant", "pitch" or "yaw".
    """
    colours, colour = ink(scheme), AXIS_COLOURS[axis]
    parts = [*(at_departure["parts_deg"][key][axis] for key, _ in PARTS), at_departure["rotation_deg"][axis]]
    sigmas = [*(_sigma(at_departure, key, axis) for key, _ in PARTS), at_departure["rotation_sigma_deg"][axis]]
    said_parts = [[axis_words(axis, p), "" if s is None else f" ± {s:.4f}"] for p, s in zip(parts, sigmas, strict=True)]
    figure = bare_figure(scheme, height=200, margin=(_LEFT_PX + 2, 12, 26, 26))
    figure["layout"] |= {"bargap": 0.36, "hovermode": "closest", "uirevision": "sources"}
    add_trace(
        figure,
        "bar",
        x=parts,
        y=[*(words for _, words in PARTS), "<b>altogether</b>"],
        orientation="h",
        marker={"color": [with_alpha(colour, 0.6)] * len(PARTS) + [colour], "line": {"width": 0}},
        error_x={"type": "data", "array": sigmas, "color": colours.text, "thickness": 1.4, "width": 4},
        customdata=said_parts,
        hovertemplate="%{y}: %{customdata[0]}%{customdata[1]}<extra></extra>",
    )
    widest = _widest(at_departure)
    tick = _round_below(0.75 * widest)
    figure["layout"] |= {
        "xaxis": axis_look(scheme)
        | {"range": [-widest, widest], "tickvals": [-tick, 0, tick], "tickangle": 0, "fixedrange": True},
        "yaxis": axis_look(scheme)
        | {
            "autorange": "reversed",
            "fixedrange": True,
            "showgrid": False,
            "zeroline": False,
            "tickfont": {"size": 13, "color": colours.text},
        },
    }
    place: dict[str, Any] = {"xref": "paper", "yref": "paper", "y": 1.0, "yanchor": "bottom", "yshift": 4, "size": 12}
    minus, plus = axis_direction(axis, -1.0), axis_direction(axis, 1.0)
    add_text(figure, f"← {minus}", x=0, colour=colours.quiet, xanchor="left", xshift=-_LEFT_PX, **place)
    add_text(figure, f"{plus} →", x=1, colour=colours.quiet, xanchor="right", **place)
    return figure


def _round_below(value: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is no larger."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1, 2, 5) if step * power <= value)


def _sigma(at_departure: Mapping[str, Any], part: str, axis: str) -> float | None:
    sigma: float | None = at_departure.get("parts_sigma_deg", {}).get(part, {}).get(axis)
    return sigma


def _widest(at_departure: Mapping[str, Any]) -> float:
    """Room for the longest bar of all axes with its uncertainty."""
    values, sigmas = at_departure["parts_deg"], at_departure.get("parts_sigma_deg", {})
    reach = [
        abs(value) + (sigmas.get(part, {}).get(axis) or 0.0)
        for part, axes in (*values.items(), ("whole", at_departure["rotation_deg"]))
        for axis, value in axes.items()
        if value is not None
    ]
    whole = [s for s in at_departure["rotation_sigma_deg"].values() if s is not None]
    return float(max([*reach, 0.01])) + float(max([*whole, 0.0]))
