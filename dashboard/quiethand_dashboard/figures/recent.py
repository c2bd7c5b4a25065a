"""The day's last shots: how far each one's turn alone would have moved the arrow, sideways and in height."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from quiethand_dashboard.figures.palette import AXIS_COLOURS, Scheme, ink
from quiethand_dashboard.figures.style import Figure, add_shape, add_text, add_trace, axis_look, bare_figure

__all__ = ["RecentShot", "recent_figure"]


@dataclass(frozen=True)
class RecentShot:
    label: str  # short: its number
    right_mm: float | None
    right_sigma_mm: float | None
    up_mm: float | None
    up_sigma_mm: float | None
    limit_mm: float | None
    shown: bool  # the shot that the page shows now


# sideways comes from yaw and height from pitch: they keep those axes' colours
_SIDES: Final = (("right", "Sideways, mm", "yaw", "right", "left"), ("up", "Height, mm", "pitch", "high", "low"))


def recent_figure(shots: Sequence[RecentShot], scheme: Scheme) -> Figure:
    """Two panels, oldest shot left; bars are one standard uncertainty, dashes the limit; the shot shown is filled."""
    colours = ink(scheme)
    figure = bare_figure(scheme, height=300, margin=(44, 8, 24, 30))
    figure["layout"] |= {"hovermode": "closest", "uirevision": "recent"}
    order = list(range(len(shots)))
    for row, (side, title, axis, plus, minus) in enumerate(_SIDES):
        number = "" if row == 0 else str(row + 1)
        values = [getattr(s, f"{side}_mm") for s in shots]
        sigmas = [getattr(s, f"{side}_sigma_mm") for s in shots]
        top = 1.0 - row * 0.54
        add_trace(
            figure,
            "scatter",
            x=order,
            y=values,
            mode="markers",
            xaxis=f"x{number}",
            yaxis=f"y{number}",
            error_y={"type": "data", "array": sigmas, "color": AXIS_COLOURS[axis], "thickness": 1.5, "width": 0},
            marker={
                "size": [13 if s.shown else 9 for s in shots],
                "symbol": ["circle" if s.shown else "circle-open" for s in shots],
                "color": AXIS_COLOURS[axis],
                "line": {"width": 2, "color": AXIS_COLOURS[axis]},
            },
            customdata=[s.label for s in shots],
            hovertemplate="shot %{customdata}: %{y:+.1f} mm<extra></extra>",
        )
        figure["layout"] |= {
            f"xaxis{number}": axis_look(scheme)
            | {
                "anchor": f"y{number}",
                "tickmode": "array",
                "tickvals": order,
                "ticktext": [s.label for s in shots],
                "range": [-0.6, max(len(shots), 2) - 0.4],
                "showgrid": False,
                "zeroline": False,
                "fixedrange": True,
                "showticklabels": row == 1,
                "tickangle": 0,
            },
            f"yaxis{number}": axis_look(scheme)
            | {
                "anchor": f"x{number}",
                "domain": [top - 0.42, top - 0.02],
                "nticks": 5,
                "fixedrange": True,
                "range": _range(values, sigmas, shots),
            },
        }
        place: dict[str, Any] = {"xref": "paper", "yref": "paper", "y": top - 0.02, "yanchor": "bottom", "yshift": 2}
        add_text(figure, f"<b>{title}</b>", x=0, colour=colours.text, xanchor="left", **place)
        add_text(figure, f"+ {plus}, − {minus}", x=1, colour=colours.quiet, size=12, xanchor="right", **place)
        for limit in _limits(shots):
            for sign in (-1, 1):
                add_shape(
                    figure,
                    "line",
                    xref=f"x{number} domain",
                    yref=f"y{number}",
                    x0=0,
                    x1=1,
                    y0=sign * limit,
                    y1=sign * limit,
                    line={"color": colours.quiet, "width": 1.2, "dash": "6px,4px"},
                    layer="below",
                )
    return figure


def _limits(shots: Sequence[RecentShot]) -> list[float]:
    """The limit, drawn only where all shots share one."""
    found = {s.limit_mm for s in shots if s.limit_mm is not None}
    return list(found) if len(found) == 1 else []


def _range(values: Sequence[float | None], sigmas: Sequence[float | None], shots: Sequence[RecentShot]) -> list[float]:
    """Symmetric about zero, so that left and right look alike; the limit is in view if the shots come near it."""
    reach = max([abs(v) + (s or 0.0) for v, s in zip(values, sigmas, strict=True) if v is not None] or [1.0])
    limits = [limit for limit in _limits(shots) if limit < 2.5 * reach]
    return [-1.15 * max([reach, *limits]), 1.15 * max([reach, *limits])]
