"""One axis of one or a few shots against milliseconds from release: rotation, rate, acceleration, torque, one above
the other, the time on the string shaded, the archer's usual band behind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from quiethand.axes import AXIS_NAMES
from quiethand.shots.model import Trace

from quiethand_dashboard.figures.excess import Span
from quiethand_dashboard.figures.palette import AXIS_COLOURS, DASHES, Scheme, ink
from quiethand_dashboard.figures.reduce import MOST_POINTS, keep_peaks, within
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

__all__ = ["PANELS", "Band", "DrawnShot", "Panel", "traces_figure"]


@dataclass(frozen=True)
class Panel:
    """One quantity; `times` and `values` are names of `Trace`'s fields."""

    name: str
    unit: str
    times: str
    values: str
    least_span: float  # a panel never shows less than this from bottom to top, so that mere noise looks like noise
    # How long before the departure the shock at brace already shows: the filters of sensor and slope spread it.
    shock_ms: float
    plus: Mapping[str, str]  # what + means, for each axis


_TURN: Final = {"cant": "top limb right", "pitch": "nose down", "yaw": "nose left"}
_PUSH: Final = {"cant": "to the target", "pitch": "to the left", "yaw": "upward"}

PANELS: Final = (
    Panel("Rotation", "deg", "gyro_ms", "rotation_deg", 0.02, 0.0, _TURN),
    Panel("Rate", "deg/s", "gyro_ms", "rate_deg_s", 2.0, 1.0, _TURN),
    Panel("Torque", "N m", "gyro_ms", "torque_nm", 0.05, 2.5, _TURN),
    Panel("Acceleration", "m/s²", "accel_ms", "specific_force_m_s2", 5.0, 0.0, _PUSH),
)

_BEFORE_MS: Final = 15.0  # what led up to the release
_AFTER_MS: Final = 8.0  # and what followed the departure; the rest is a zoom away
_STEP_MS: Final = 5.0
_PANEL_PX: Final = 150
_LEFT_PX: Final = 54  # room for the numbers, and for the headings to begin in


@dataclass(frozen=True)
class Band:
    """An archer's usual: lower and upper edge for each panel's `values`, arrays of shape (k, 3) over `ms` (k,)."""

    ms: NDArray[np.floating]
    low: Mapping[str, NDArray[np.floating]]
    high: Mapping[str, NDArray[np.floating]]
    shots: int = 0


@dataclass(frozen=True)
class DrawnShot:
    label: str
    trace: Trace
    window_ms: float | None  # release to departure; None where the release is not known
    excess: Sequence[Span] = field(default_factory=tuple)


def _view(shots: Sequence[DrawnShot]) -> tuple[float, float, float]:
    """Where the panels start and end and where the last departure is, in ms."""
    windows = [s.window_ms for s in shots if s.window_ms is not None]
    departure = max(windows, default=15.0)
    # In steps, so that like shots are drawn to one scale of time.
    end = _STEP_MS * np.ceil((departure + _AFTER_MS) / _STEP_MS)
    return -_BEFORE_MS, float(end), departure


def _y_range(
    panel: Panel, column: int, shots: Sequence[DrawnShot], band: Band | None, start: float, departure: float
) -> list[float] | None:
    """Room for what happens until the arrow leaves; the shock after it may run off the panel."""
    spans = []
    for shot in shots:
        values = getattr(shot.trace, panel.values)
        if values is not None:
            own = departure if shot.window_ms is None else shot.window_ms
            spans.append(within(getattr(shot.trace, panel.times), values[:, column], start, own - panel.shock_ms))
    if band is not None and panel.values in band.low:
        inside = (band.ms >= start) & (band.ms <= departure - panel.shock_ms)
        spans += [
            (
                float(np.nanmin(edge[panel.values][inside, column], initial=np.inf)),
                float(np.nanmax(edge[panel.values][inside, column], initial=-np.inf)),
            )
            for edge in (band.low, band.high)
        ]
    finite = [pair for pair in spans if np.all(np.isfinite(pair))]
    if not finite:
        return None
    low, high = min(a for a, _ in finite), max(b for _, b in finite)
    low, high = min(low, 0.0), max(high, 0.0)
    short = panel.least_span - (high - low)
    if short > 0:
        low, high = low - short / 2, high + short / 2
    room = 0.12 * (high - low)
    return [low - room, high + room]


def traces_figure(
    axis: str, shots: Sequence[DrawnShot], band: Band | None, scheme: Scheme, *, keep: str = "traces"
) -> Figure:
    """Four panels of `axis` ("cant", "pitch", "yaw") for up to six shots.

    A panel whose quantity no shot has is left out. `keep` is Plotly's uirevision.
    """
    column, colour, colours = AXIS_NAMES.index(axis), AXIS_COLOURS[axis], ink(scheme)
    panels = [p for p in PANELS if any(getattr(s.trace, p.values) is not None for s in shots)]
    figure = bare_figure(scheme, height=_PANEL_PX * len(panels) + 48, margin=(_LEFT_PX + 2, 10, 4, 44))
    start, end, departure = _view(shots)
    figure["layout"] |= {"uirevision": keep}
    for row, panel in enumerate(panels):
        number = "" if row == 0 else str(row + 1)
        low, high = panel_domain(row, len(panels))
        last = row == len(panels) - 1
        x_look = axis_look(scheme) | {
            "range": [start, end],
            "anchor": f"y{number}",
            "zeroline": False,
            "showticklabels": last,
            "dtick": 10,
        }
        if row:
            x_look["matches"] = "x"
        if last:
            x_look["title"] = x_look["title"] | {"text": "milliseconds from release"}
        y_look = axis_look(scheme) | {
            "domain": [low, high],
            "anchor": f"x{number}",
            "nticks": 5,
            "range": _y_range(panel, column, shots, band, start, departure),
        }
        figure["layout"] |= {f"xaxis{number}": x_look, f"yaxis{number}": y_look}
        _heading(figure, panel, axis, high, colours.text, colours.quiet)
        _window(figure, shots, number, scheme)
        if band is not None and panel.values in band.low:
            _band(figure, band, panel, column, number, colours.band)
        for order, shot in enumerate(shots):
            _line(figure, shot, panel, column, number, colour, order)
            _excess(figure, shot, panel, column, number, (colour, colours.text))
    _instants(figure, shots, colours.quiet)
    return figure


def _heading(figure: Figure, panel: Panel, axis: str, top: float, text: str, quiet: str) -> None:
    place: dict[str, Any] = {"xref": "paper", "yref": "paper", "yanchor": "bottom", "yshift": 2}
    heading = f"<b>{panel.name}</b>, {panel.unit}"
    add_text(figure, heading, x=0.0, y=top, colour=text, xanchor="left", xshift=-_LEFT_PX, **place)
    add_text(figure, f"+ {panel.plus[axis]}", x=1.0, y=top, colour=quiet, size=12, xanchor="right", **place)


def _window(figure: Figure, shots: Sequence[DrawnShot], number: str, scheme: Scheme) -> None:
    """The time on the string of the first shot, shaded; the departures of the others as lines."""
    colours = ink(scheme)
    axes = {"xref": f"x{number}", "yref": f"y{number} domain", "y0": 0, "y1": 1, "layer": "below"}
    for order, shot in enumerate(shots):
        if shot.window_ms is None:
            continue
        if order == 0:
            add_shape(figure, "rect", x0=0, x1=shot.window_ms, fillcolor=colours.window, line={"width": 0}, **axes)
        for at in (0.0, shot.window_ms):
            add_shape(
                figure, "line", x0=at, x1=at, line={"color": colours.quiet, "width": 1, "dash": DASHES[order]}, **axes
            )


def _instants(figure: Figure, shots: Sequence[DrawnShot], colour: str) -> None:
    """The words for the two instants, once, at the foot of the topmost panel."""
    if not shots or shots[0].window_ms is None:
        return
    place: dict[str, Any] = {"xref": "x", "yref": "y domain", "yanchor": "bottom", "yshift": 1}
    add_text(figure, "release", x=0, y=0, colour=colour, size=11, xanchor="right", xshift=-4, **place)
    add_text(
        figure, "departure", x=shots[0].window_ms, y=0, colour=colour, size=11, xanchor="right", xshift=-4, **place
    )


def _band(figure: Figure, band: Band, panel: Panel, column: int, number: str, fill: str) -> None:
    low, high = band.low[panel.values][:, column], band.high[panel.values][:, column]
    sound = np.isfinite(low) & np.isfinite(high)
    ms = band.ms[sound].astype(np.float32)
    common = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "xaxis": f"x{number}", "yaxis": f"y{number}"}
    add_trace(figure, "scatter", x=ms, y=low[sound].astype(np.float32), name="usual, lower edge", **common)
    add_trace(
        figure,
        "scatter",
        x=ms,
        y=high[sound].astype(np.float32),
        name="usual",
        fill="tonexty",
        fillcolor=fill,
        **common,
    )


def _line(figure: Figure, shot: DrawnShot, panel: Panel, column: int, number: str, colour: str, order: int) -> None:
    values = getattr(shot.trace, panel.values)
    if values is None:
        return
    ms, y = getattr(shot.trace, panel.times), values[:, column]
    gone = len(ms) if shot.window_ms is None else int(np.searchsorted(ms, shot.window_ms, side="right"))
    # what comes after the departure moved no arrow: the same line goes on, faint, from its last sample before
    for part, faint in ((slice(0, gone), False), (slice(max(gone - 1, 0), None), True)):
        if gone == len(ms) and faint:
            continue
        kept = keep_peaks(y[part], MOST_POINTS // 2)
        add_trace(
            figure,
            "scatter",
            x=ms[part][kept].astype(np.float32),
            y=y[part][kept].astype(np.float32),
            name=plain(shot.label),
            mode="lines",
            line={"color": colour, "width": 1.2 if faint else 2.4 if order == 0 else 1.8, "dash": DASHES[order]},
            opacity=0.4 if faint else 1.0,
            xaxis=f"x{number}",
            yaxis=f"y{number}",
            hovertemplate="%{y:.3g} " + panel.unit + " at %{x:.1f} ms<extra>" + plain(shot.label) + "</extra>",
        )


def _excess(figure: Figure, shot: DrawnShot, panel: Panel, column: int, number: str, colours: tuple[str, str]) -> None:
    """What lies outside the usual during the time on the string: the same line again, thick, with its ends marked."""
    values, ms = getattr(shot.trace, panel.values), getattr(shot.trace, panel.times)
    line, mark = colours
    for span in shot.excess:
        if span.quantity != panel.values or AXIS_NAMES.index(span.axis) != column or values is None:
            continue
        inside = np.flatnonzero((ms >= span.start_ms) & (ms <= span.end_ms))
        if len(inside) == 0:
            continue
        kept = inside[keep_peaks(values[inside, column])]
        add_trace(
            figure,
            "scatter",
            x=ms[kept].astype(np.float32),
            y=values[kept, column].astype(np.float32),
            mode="lines+markers",
            line={"color": line, "width": 5},
            marker={
                "symbol": "line-ns-open",
                "size": [14 if i in (0, len(kept) - 1) else 0 for i in range(len(kept))],
                "color": mark,
                "line": {"width": 2, "color": mark},
            },
            name=f"{plain(shot.label)}, outside the usual",
            hoverinfo="skip",
            xaxis=f"x{number}",
            yaxis=f"y{number}",
        )
