"""The motion around one shot, sample by sample, with release and departure as found and as set by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from quiethand.axes import AXIS_NAMES
from quiethand.shots.model import Trace

from quiethand_dashboard.figures.palette import AXIS_COLOURS, Scheme, ink
from quiethand_dashboard.figures.style import (
    Figure,
    add_shape,
    add_text,
    add_trace,
    axis_look,
    bare_figure,
    panel_domain,
)

__all__ = ["HEIGHT_PX", "Instants", "motion_figure"]

HEIGHT_PX: Final = 520
_PUSH: Final = {"cant": "to the target", "pitch": "to the left", "yaw": "upward"}
_TURN: Final = {"cant": "top limb right", "pitch": "nose down", "yaw": "nose left"}


@dataclass(frozen=True)
class Instants:
    """In ms from the computed release; None where not known, or not set by hand."""

    departure: float | None
    release_set: float | None = None
    departure_set: float | None = None

    @property
    def both(self) -> Mapping[str, tuple[float | None, float | None]]:
        return {"release": (0.0, self.release_set), "departure": (self.departure, self.departure_set)}


def motion_figure(
    what: Literal["acceleration", "rate"], trace: Trace, instants: Instants, scheme: Scheme, *, keep: str
) -> Figure:
    """Three panels, an axis each; every sample is there, its mark too once one zooms in.

    On the acceleration the two instants set by hand are lines that can be dragged: the first two shapes.
    """
    moved = what == "acceleration"
    ms, values = (trace.accel_ms, trace.specific_force_m_s2) if moved else (trace.gyro_ms, trace.rate_deg_s)
    unit, plus = ("m/s²", _PUSH) if moved else ("deg/s", _TURN)
    colours = ink(scheme)
    figure = bare_figure(scheme, height=HEIGHT_PX, margin=(58, 12, 8, 44))
    figure["layout"] |= {"uirevision": keep, "hovermode": "closest", "dragmode": "zoom"}
    if moved:
        for name, (found, set_by_hand) in instants.both.items():
            at = found if set_by_hand is None else set_by_hand
            add_shape(
                figure, "line", name=name, xref="x", yref="paper", x0=at, x1=at, y0=0, y1=1, editable=True,
                visible=at is not None, line={"color": colours.text, "width": 3},
            )  # fmt: skip
    end = 25.0 if instants.departure is None else instants.departure + 12.0
    order = ("cant", "pitch", "yaw") if moved else ("yaw", "pitch", "cant")
    for row, axis in enumerate(order):
        number = "" if row == 0 else str(row + 1)
        low, high = panel_domain(row, 3)
        column = AXIS_NAMES.index(axis)
        figure["layout"] |= {
            f"xaxis{number}": axis_look(scheme)
            | {"anchor": f"y{number}", "range": [-20.0, end], "zeroline": False, "showticklabels": row == 2}
            | ({"matches": "x"} if row else {})
            | ({"title": axis_look(scheme)["title"] | {"text": "milliseconds from release"}} if row == 2 else {}),
            f"yaxis{number}": axis_look(scheme)
            | {
                "anchor": f"x{number}",
                "domain": [low, high],
                "nticks": 5,
                "range": _range(ms, values[:, column], end - 12.0),
            },
        }
        place: dict[str, Any] = {"xref": "paper", "yref": "paper", "y": high, "yanchor": "bottom", "yshift": 2}
        heading = f"<b>{plus[axis].capitalize()}</b>, {unit}" if moved else f"<b>{axis.capitalize()}</b>, {unit}"
        add_text(figure, heading, x=0, colour=colours.text, xanchor="left", xshift=-54, **place)
        if not moved:
            add_text(figure, f"+ {plus[axis]}", x=1, colour=colours.quiet, size=12, xanchor="right", **place)
        add_trace(
            figure,
            "scatter",
            x=ms,
            y=values[:, column].astype(np.float32),
            mode="lines+markers",
            line={"color": AXIS_COLOURS[axis], "width": 1.3},
            marker={"size": 4, "color": AXIS_COLOURS[axis]},
            xaxis=f"x{number}",
            yaxis=f"y{number}",
            meta={"panel": f"{plus[axis]}, {unit}" if moved else f"{axis}, {unit}", "series": what},
            hovertemplate=f"%{{y:.3g}} {unit} at %{{x:.2f}} ms<extra></extra>",
        )
    for name, (found, _) in instants.both.items():
        if found is None:
            continue
        add_shape(
            figure, "line", xref="x", yref="paper", x0=found, x1=found, y0=0, y1=1, layer="below", editable=False,
            line={"color": colours.quiet, "width": 1.5, "dash": "6px,4px"},
        )  # fmt: skip
        add_text(
            figure, name, x=found, y=0, xref="x", yref="paper", colour=colours.quiet, size=12,
            xanchor="right" if name == "release" else "left", yanchor="bottom", xshift=-5 if name == "release" else 5,
        )  # fmt: skip
    return figure


def _range(ms: np.ndarray, values: np.ndarray, departure: float) -> list[float]:
    """What happens until the arrow leaves, and the onset of the shock after it; the shock itself runs off."""
    inside = values[(ms >= -20.0) & (ms <= departure - 0.5)]
    low, high = (float(inside.min()), float(inside.max())) if len(inside) else (-1.0, 1.0)
    room = 0.6 * max(high - low, 2.0)
    return [low - room, high + room]
