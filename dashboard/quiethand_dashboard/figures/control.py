"""Control charts: each point against its limits, and below it the smoothed line against narrower ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from quiethand_dashboard.charted import Charted
from quiethand_dashboard.figures.palette import AXIS_COLOURS, OKABE_ITO, Scheme, ink
from quiethand_dashboard.figures.style import (
    Figure,
    add_shape,
    add_text,
    add_trace,
    axis_look,
    bare_figure,
    panel_domain,
    plain,
)
from quiethand_dashboard.telling import day_in_words

__all__ = ["MOST_CHANGES", "control_figure"]

HEIGHT_PX: Final = 560
MOST_TICKS: Final = 6  # as a telephone has room for
MOST_CHANGES: Final = 12  # drawn and told; more lines than that would hide the points


def control_figure(charted: Charted, scheme: Scheme, *, keep: str) -> Figure:
    """Points in order, evenly spaced: the charts are about order, and weeks without shooting would take the room.

    Points outside are filled triangles, those inside open circles. `keep` is Plotly's uirevision.
    """
    colours = ink(scheme)
    shown = charted.shown
    own = OKABE_ITO["sky blue"] if scheme == "dark" else "#24527a"
    colour = AXIS_COLOURS[shown.axis] if shown.axis else own
    figure = bare_figure(scheme, height=HEIGHT_PX, margin=(62, 16, 10, 48))
    figure["layout"] |= {"uirevision": keep, "hovermode": "closest"}
    values = np.array([p.value for p in charted.points])
    order = np.arange(1, len(values) + 1)
    each = "Each shot" if charted.by == "shot" else "Each day's mean"
    alone, smoothed = charted.alone, charted.smoothed
    panels = [(each, values, None if alone is None else alone.outside)]
    if smoothed is not None:
        panels.append(("Smoothed (EWMA)", smoothed.z, smoothed.outside))
    for row, (title, y, outside) in enumerate(panels):
        number = "" if row == 0 else "2"
        place = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
        _axes(figure, charted, row, len(panels), title, scheme)
        if alone is not None and smoothed is not None:
            limits = (
                (np.full(len(y), alone.low), np.full(len(y), alone.high)) if row == 0 else (smoothed.low, smoothed.high)
            )
            for limit in limits:
                look = {"color": colours.quiet, "width": 1.3, "dash": "6px,4px"}
                add_trace(figure, "scatter", x=order, y=limit, mode="lines", line=look, hoverinfo="skip", **place)
            add_shape(
                figure, "line", xref=f"x{number} domain", yref=f"y{number}", x0=0, x1=1, y0=alone.centre,
                y1=alone.centre, line={"color": colours.quiet, "width": 1},
            )  # fmt: skip
        out = np.zeros(len(y), dtype=bool) if outside is None else outside
        add_trace(
            figure,
            "scatter",
            x=order,
            y=y,
            mode="lines+markers",
            line={"color": colour, "width": 2 if row else 1},
            marker=_marks(out, colour, small=row == 1),
            customdata=[
                [day_in_words(p.day), plain(p.label), plain(shown.said(float(v)))]
                for p, v in zip(charted.points, y, strict=True)
            ],
            hovertemplate="%{customdata[0]}, %{customdata[1]}: %{customdata[2]}<extra></extra>",
            **place,
        )
        _base(figure, charted, number, colours.window)
        _changes(figure, charted, number, colours.text, numbered=row == 0)
    return figure


def _marks(outside: NDArray[np.bool_], colour: str, *, small: bool) -> dict[str, Any]:
    size = 5 if small else 8
    return {
        "symbol": ["triangle-up" if out else "circle" if small else "circle-open" for out in outside],
        "size": [12 if out else size for out in outside],
        "color": colour,
        "line": {"width": 1.8, "color": colour},
    }


def _axes(figure: Figure, charted: Charted, row: int, rows: int, title: str, scheme: Scheme) -> None:
    colours, shown = ink(scheme), charted.shown
    number, last = "" if row == 0 else "2", row == rows - 1
    low, high = panel_domain(row, rows, heading=0.11, foot=0.04)
    ticks, texts = _ticks([p.day for p in charted.points])
    figure["layout"] |= {
        f"xaxis{number}": axis_look(scheme)
        | {
            "anchor": f"y{number}",
            "range": [0.2, max(len(charted.points), 2) + 0.8],
            "tickmode": "array",
            "tickvals": ticks,
            "ticktext": texts if last else [""] * len(ticks),
            "tickangle": 0,
            "zeroline": False,
            "matches": "x" if row else None,
        },
        f"yaxis{number}": axis_look(scheme)
        | {"anchor": f"x{number}", "domain": [low, high], "nticks": 6, "zerolinecolor": colours.rule},
    }
    place: dict[str, Any] = {"xref": "paper", "yref": "paper", "y": high, "yanchor": "bottom", "yshift": 3}
    add_text(figure, f"<b>{title}</b>, {shown.unit}", x=0, colour=colours.text, xanchor="left", xshift=-56, **place)
    if shown.plus:
        add_text(
            figure, f"+ {shown.plus}, − {shown.minus}", x=1, colour=colours.quiet, size=12, xanchor="right", **place
        )


def _ticks(days: Sequence[str]) -> tuple[list[int], list[str]]:
    """A tick where a day begins, thinned to what can be read."""
    firsts = [i for i, day in enumerate(days) if i == 0 or day != days[i - 1]]
    step = max(1, -(-len(firsts) // MOST_TICKS))
    kept: list[int] = []
    for i in firsts[::step]:
        if not kept or i - kept[-1] >= len(days) / MOST_TICKS:  # days of few shots would write over each other
            kept.append(i)
    return [i + 1 for i in kept], [day_in_words(days[i])[:-5] for i in kept]


def _base(figure: Figure, charted: Charted, number: str, fill: str) -> None:
    """Shade the points that the limits come from."""
    if 0 < charted.base < len(charted.points):
        add_shape(
            figure, "rect", xref=f"x{number}", yref=f"y{number} domain", x0=0.5, x1=charted.base + 0.5, y0=0, y1=1,
            fillcolor=fill, line={"width": 0}, layer="below",
        )  # fmt: skip


def _changes(figure: Figure, charted: Charted, number: str, colour: str, *, numbered: bool) -> None:
    """A line before the first point of another set-up, with the number it has in the list below."""
    for order, at in enumerate(charted.changes[-MOST_CHANGES:], start=1):
        add_shape(
            figure, "line", xref=f"x{number}", yref=f"y{number} domain", x0=at + 0.5, x1=at + 0.5, y0=0, y1=1,
            line={"color": colour, "width": 1.2, "dash": "2px,3px"},
        )  # fmt: skip
        if numbered:
            add_text(
                figure, f"<b>{order}</b>", x=at + 0.5, y=1, xref="x", yref="y domain", colour=colour, size=12,
                xanchor="left", yanchor="top", xshift=3,
            )  # fmt: skip
