"""Two sets of shots about one axis: their middles and bands over time, and each shot's turn, set beside set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from quiethand.axes import AXIS_NAMES

from quiethand_dashboard.figures.palette import AXIS_COLOURS, DASHES, Scheme, ink, with_alpha
from quiethand_dashboard.figures.style import (
    Figure,
    add_shape,
    add_text,
    add_trace,
    axis_look,
    bare_figure,
    panel_domain,
)
from quiethand_dashboard.figures.traces import PANELS, Panel

__all__ = ["SETS_PX", "SPREAD_PX", "DrawnSet", "Spread", "sets_figure", "spread_figure", "summary"]

SETS_PX: Final = 498
SPREAD_PX: Final = 210
_LEFT_PX: Final = 54
_SHOWN: Final = PANELS[:3]  # rotation, rate, torque: the acceleration is the bow's, not the hand's
_LOW, _HIGH = 10.0, 90.0  # of the shots, point by point


@dataclass(frozen=True)
class DrawnSet:
    """One set over `ms` (g,): middle and band of each quantity, shape (g, 3), and each shot's own, (shots, g, 3)."""

    label: str
    ms: NDArray[np.floating]
    middle: Mapping[str, NDArray[np.floating]]
    low: Mapping[str, NDArray[np.floating]]
    high: Mapping[str, NDArray[np.floating]]
    each: Mapping[str, NDArray[np.floating]]
    window_ms: float | None


def summary(label: str, ms: NDArray[np.floating], traces: Sequence[Any], window_ms: float | None) -> DrawnSet:
    """A set from its shots' traces, until the arrows left; a quantity that fewer than three have is left out."""
    ms = ms if window_ms is None else ms[ms <= window_ms]
    middle, low, high, each = {}, {}, {}, {}
    for panel in _SHOWN:
        known = [t for t in traces if getattr(t, panel.values) is not None]
        if len(known) < 3:
            continue
        stack = np.stack([_on_grid(getattr(t, panel.times), getattr(t, panel.values), ms) for t in known])
        each[panel.values] = stack
        low[panel.values], middle[panel.values], high[panel.values] = np.percentile(stack, [_LOW, 50.0, _HIGH], axis=0)
    return DrawnSet(label, ms, middle, low, high, each, window_ms)


def _on_grid(times: NDArray[np.floating], values: NDArray[np.floating], ms: NDArray[np.floating]) -> Any:
    return np.column_stack([np.interp(ms, times, values[:, i]) for i in range(3)])


def sets_figure(axis: str, sets: Sequence[DrawnSet], scheme: Scheme, *, keep: str) -> Figure:
    """Rotation, rate and torque: each set's middle (A solid, B dashed), its band of eight in ten, its shots thin."""
    column, colours = AXIS_NAMES.index(axis), ink(scheme)
    panels = [p for p in _SHOWN if any(p.values in s.middle for s in sets)]
    figure = bare_figure(scheme, height=150 * len(panels) + 48, margin=(_LEFT_PX + 2, 10, 4, 44))
    figure["layout"] |= {"uirevision": keep}
    departure = max((s.window_ms for s in sets if s.window_ms is not None), default=15.0)
    for row, panel in enumerate(panels):
        number = "" if row == 0 else str(row + 1)
        low, high = panel_domain(row, len(panels))
        _axes(figure, panel, row, len(panels), (low, high), departure, _range(panel, column, sets, departure), scheme)
        place: dict[str, Any] = {"xref": "paper", "yref": "paper", "y": high, "yanchor": "bottom", "yshift": 2}
        text = f"<b>{panel.name}</b>, {panel.unit}"
        add_text(figure, text, x=0.0, colour=colours.text, xanchor="left", xshift=-_LEFT_PX, **place)
        add_text(figure, f"+ {panel.plus[axis]}", x=1, colour=colours.quiet, size=12, xanchor="right", **place)
        for order, drawn in enumerate(sets):
            if panel.values in drawn.middle:
                _set(figure, drawn, panel, column, number, axis, order)
        for order, drawn in enumerate(sets):
            for at in (0.0, drawn.window_ms):
                if at is not None:
                    add_shape(
                        figure, "line", xref=f"x{number}", yref=f"y{number} domain", x0=at, x1=at, y0=0, y1=1,
                        layer="below", line={"color": colours.quiet, "width": 1, "dash": DASHES[order]},
                    )  # fmt: skip
    return figure


def _axes(
    figure: Figure, panel: Panel, row: int, rows: int, domain: tuple[float, float], departure: float,
    span: list[float], scheme: Scheme,
) -> None:  # fmt: skip
    number, last = "" if row == 0 else str(row + 1), row == rows - 1
    x = axis_look(scheme) | {
        "range": [-10.0, departure + 1.0], "anchor": f"y{number}", "zeroline": False, "showticklabels": last,
        "dtick": 10,
    }  # fmt: skip
    if row:
        x["matches"] = "x"
    if last:
        x["title"] = x["title"] | {"text": "milliseconds from release"}
    y = axis_look(scheme) | {"domain": list(domain), "anchor": f"x{number}", "nticks": 5, "range": span}
    figure["layout"] |= {f"xaxis{number}": x, f"yaxis{number}": y}


def _range(panel: Panel, column: int, sets: Sequence[DrawnSet], departure: float) -> list[float]:
    found = [0.0]
    for drawn in sets:
        inside = (drawn.ms >= -10) & (drawn.ms <= (drawn.window_ms or departure) - panel.shock_ms)
        for edge in (drawn.low, drawn.high):
            if panel.values in edge:
                found += [
                    float(edge[panel.values][inside, column].min()),
                    float(edge[panel.values][inside, column].max()),
                ]
    low, high = min(found), max(found)
    short = max(panel.least_span - (high - low), 0.0)
    room = 0.15 * (high - low + short) + short / 2
    return [low - room, high + room]


def _set(figure: Figure, drawn: DrawnSet, panel: Panel, column: int, number: str, axis: str, order: int) -> None:
    colour, ms = AXIS_COLOURS[axis], drawn.ms.astype(np.float32)
    place = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
    about = {"panel": f"{panel.name}, {panel.unit}"}
    for name, edge in (("lower edge", drawn.low), ("upper edge", drawn.high)):
        fill: dict[str, Any] = {}
        if name == "upper edge":
            fill = {"fill": "tonexty", "fillcolor": with_alpha(colour, 0.13)}
        if fill and order:  # the second set's band is hatched, so that both can be seen where they overlap
            fill |= {"fillpattern": {"shape": "/", "size": 7, "solidity": 0.25, "fgcolor": with_alpha(colour, 0.55),
                                     "bgcolor": "rgba(0,0,0,0)"}}  # fmt: skip
        add_trace(
            figure, "scatter", x=ms, y=edge[panel.values][:, column].astype(np.float32), mode="lines",
            line={"width": 0}, hoverinfo="skip", name=f"{drawn.label}, {name}",
            meta=about | {"series": f"{drawn.label}, {name} of eight in ten"}, **fill, **place,
        )  # fmt: skip
    each = drawn.each[panel.values][:, :, column]
    joined = np.column_stack([each, np.full(len(each), np.nan)]).ravel()  # one line with gaps: a trace less a shot
    add_trace(
        figure, "scatter", x=np.tile(np.append(ms, np.nan), len(each)).astype(np.float32),
        y=joined.astype(np.float32), mode="lines", hoverinfo="skip", opacity=0.35, name=f"{drawn.label}, each shot",
        line={"color": colour, "width": 0.6, "dash": DASHES[order]},
        meta=about | {"series": f"{drawn.label}, each shot"}, **place,
    )  # fmt: skip
    add_trace(
        figure, "scatter", x=ms, y=drawn.middle[panel.values][:, column].astype(np.float32), mode="lines",
        line={"color": colour, "width": 2.8, "dash": DASHES[order]}, name=f"{drawn.label}, middle",
        meta=about | {"series": f"{drawn.label}, middle"},
        hovertemplate="%{y:.3g} " + panel.unit + " at %{x:.1f} ms<extra>" + f"{drawn.label}, middle</extra>", **place,
    )  # fmt: skip


@dataclass(frozen=True)
class Spread:
    """A measure of each shot of a set, in order of time, and their mean."""

    label: str
    values: Sequence[float]


def spread_figure(axis: str, sets: Sequence[Spread], scheme: Scheme) -> Figure:
    """Each shot a point, in order of time, A on the left and B on the right; a bar is the mean of a set."""
    colours, colour = ink(scheme), AXIS_COLOURS[axis]
    figure = bare_figure(scheme, height=SPREAD_PX, margin=(_LEFT_PX + 2, 10, 22, 26))
    figure["layout"] |= {"hovermode": "closest"}
    for order, one in enumerate(sets):
        y = np.asarray(one.values, dtype=np.float64)
        x = order + 0.12 + 0.76 * (np.arange(len(y)) + 0.5) / max(len(y), 1)
        add_trace(
            figure, "scatter", x=x.astype(np.float32), y=y.astype(np.float32), mode="markers", name=one.label,
            marker={"color": colour, "size": 7, "symbol": "circle" if order == 0 else "diamond-open",
                    "line": {"width": 1.6, "color": colour}},
            meta={"panel": "rotation at departure, deg", "series": one.label},
            hovertemplate="%{y:.3f} deg<extra>" + one.label + "</extra>",
        )  # fmt: skip
        if len(y):
            add_shape(
                figure, "line", xref="x", yref="y", x0=order + 0.06, x1=order + 0.94, y0=float(y.mean()),
                y1=float(y.mean()), line={"color": colours.text, "width": 2.2, "dash": DASHES[order]},
            )  # fmt: skip
    add_text(
        figure, "<b>Each shot at departure</b>, deg", x=0, y=1, xref="paper", yref="paper", colour=colours.text,
        xanchor="left", yanchor="bottom", xshift=-_LEFT_PX, yshift=2,
    )  # fmt: skip
    labels = [f"{one.label} ({len(one.values)})" for one in sets]
    figure["layout"] |= {
        "xaxis": axis_look(scheme)
        | {"range": [0, 2], "tickmode": "array", "tickvals": [0.5, 1.5], "ticktext": labels, "showgrid": False,
           "zeroline": False, "fixedrange": True},
        "yaxis": axis_look(scheme) | {"nticks": 5},
    }  # fmt: skip
    return figure
