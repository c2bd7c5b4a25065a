"""The target: a plain face with impacts, centre and ellipse; and each shot's pointing shift beside its impact."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

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

if TYPE_CHECKING:
    from quiethand.bow.faces import Face
    from quiethand.judge.explained import Explained
    from quiethand.judge.group import Group

__all__ = ["BESIDE_PX", "beside_figure", "face_figure"]

BESIDE_PX: Final = 460
_ROOM: Final = 1.08  # around the outermost ring, for arrows beside it
_MOST_NAMED: Final = 24  # impacts with their shot's number; more would cover each other
_TURN: Final = np.linspace(0, 2 * math.pi, 73)
_SD_95: Final = 2.447747  # Rayleigh: this many standard deviations hold 95 % of a normal scatter in two directions


def face_figure(
    face: Face, right_mm: Sequence[float], up_mm: Sequence[float], names: Sequence[str], found: Group | None,
    scheme: Scheme,
) -> Figure:  # fmt: skip
    """Rings as thin lines with their value, impacts by their shot's number, the group's centre and ellipses."""
    colours = ink(scheme)
    own = OKABE_ITO["sky blue"] if scheme == "dark" else "#24527a"
    figure = bare_figure(scheme, height=520, margin=(4, 4, 4, 4))
    figure["layout"].pop("height")  # as high as it is wide: the page keeps the place square
    reach = face.ring_radius_mm(1) * _ROOM
    for points in range(1, 11):
        radius = face.ring_radius_mm(points)
        _ring(figure, radius, colours.rule if points not in (9, 7, 5, 3, 1) else colours.quiet, 1.0)
        add_text(
            figure, str(points), x=radius - face.ring_width_mm / 2, y=0, colour=colours.quiet, size=10, xref="x",
            yref="y",
        )  # fmt: skip
    _ring(figure, face.inner_ten_radius_mm, colours.rule, 1.0)
    if found is not None:
        _ellipses(figure, found, colours.text)
    named = len(names) <= _MOST_NAMED
    add_trace(
        figure, "scatter", x=np.asarray(right_mm, dtype=np.float32), y=np.asarray(up_mm, dtype=np.float32),
        mode="markers+text" if named else "markers", text=[plain(n) for n in names] if named else None,
        textposition="top right", textfont={"size": 12, "color": colours.text},
        marker={"size": 11, "color": own, "line": {"width": 1.5, "color": colours.page}},
        meta={"panel": "impact, mm right and up", "series": "impacts"},
    )  # fmt: skip
    if found is not None:
        _centre(figure, found, colours.text)
    bare = {"visible": False, "range": [-reach, reach], "fixedrange": True}
    figure["layout"] |= {
        "xaxis": bare | {"constrain": "domain"},
        "yaxis": bare | {"scaleanchor": "x", "constrain": "domain"},
        "dragmode": False,
    }
    return figure


def _ring(figure: Figure, radius: float, colour: str, width: float) -> None:
    add_shape(
        figure, "circle", xref="x", yref="y", x0=-radius, x1=radius, y0=-radius, y1=radius, layer="below",
        line={"color": colour, "width": width},
    )  # fmt: skip


def _ellipses(figure: Figure, found: Group, colour: str) -> None:
    """Dashed: one standard deviation, 39 % of the impacts; dotted: 95 %."""
    angle = math.radians(found.ellipse.angle_deg)
    along, across = found.ellipse.major_sd_mm.value, found.ellipse.minor_sd_mm.value
    for times, dash, said in ((1.0, "6px,4px", "39 %"), (_SD_95, "2px,3px", "95 %")):
        u, v = times * along * np.cos(_TURN), times * across * np.sin(_TURN)
        x = found.centre_right_mm.value + u * math.cos(angle) - v * math.sin(angle)
        y = found.centre_up_mm.value + u * math.sin(angle) + v * math.cos(angle)
        add_trace(
            figure, "scatter", x=x.astype(np.float32), y=y.astype(np.float32), mode="lines",
            line={"color": colour, "width": 1.6, "dash": dash},
            meta={"panel": "impact, mm right and up", "series": f"ellipse of {said}"},
        )  # fmt: skip


def _centre(figure: Figure, found: Group, colour: str) -> None:
    """A cross whose arms are the centre's 95 % interval."""
    right, up = found.centre_right_mm, found.centre_up_mm
    for x, y in (((right.low, right.high), (up.value,) * 2), ((right.value,) * 2, (up.low, up.high))):
        add_trace(
            figure, "scatter", x=list(x), y=list(y), mode="lines", line={"color": colour, "width": 3},
            meta={"panel": "impact, mm right and up", "series": "centre, 95 % interval"},
        )  # fmt: skip


def beside_figure(
    pointing_mm: np.ndarray, impacts_mm: np.ndarray, names: Sequence[str], found: Explained | None, scheme: Scheme
) -> Figure:
    """Impact against pointing shift, sideways and in height; dashed is where both move alike.

    Args:
        pointing_mm, impacts_mm: shape (n, 2), right and up.
        found: for the fitted line; None where too few shots were joined.
    """
    colours = ink(scheme)
    figure = bare_figure(scheme, height=BESIDE_PX, margin=(58, 12, 8, 44))
    figure["layout"] |= {"hovermode": "closest"}
    for row, (side, axis, plus) in enumerate((("Sideways", "yaw", "right"), ("Height", "pitch", "high"))):
        number = "" if row == 0 else "2"
        low, high = panel_domain(row, 2, heading=0.11, foot=0.16)
        x, y = pointing_mm[:, row], impacts_mm[:, row]
        place = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
        middle = (float(x.mean()), float(y.mean())) if len(x) else (0.0, 0.0)
        reach = max(float(np.abs(x - middle[0]).max()) if len(x) else 0.0, 2.0) * 1.15
        ends = np.array([-reach, reach], dtype=np.float32)
        lines = [("as the bow's turn alone would", "6px,4px", 1.0, colours.quiet)]
        if found is not None:
            fit = (found.right, found.up)[row].fit
            lines.append(("as these shots went", "solid", float(fit.coefficients[1]), colours.text))
        for name, dash, slope, colour in lines:
            add_trace(
                figure, "scatter", x=middle[0] + ends, y=middle[1] + slope * ends, mode="lines", hoverinfo="skip",
                line={"color": colour, "width": 1.4, "dash": dash}, meta={"panel": f"{side}, mm", "series": name},
                **place,
            )  # fmt: skip
        add_trace(
            figure, "scatter", x=x.astype(np.float32), y=y.astype(np.float32), mode="markers",
            marker={"size": 9, "color": AXIS_COLOURS[axis], "symbol": "circle-open", "line": {"width": 2}},
            customdata=[plain(n) for n in names], meta={"panel": f"{side}, mm", "series": "shots"},
            hovertemplate="%{customdata}: impact %{y:.1f} mm, pointing shift %{x:.1f} mm<extra></extra>", **place,
        )  # fmt: skip
        title = axis_look(scheme)["title"]
        figure["layout"] |= {
            f"xaxis{number}": axis_look(scheme)
            | {"anchor": f"y{number}", "title": title | {"text": f"pointing shift, mm (+ {plus})"}, "nticks": 7},
            f"yaxis{number}": axis_look(scheme) | {"anchor": f"x{number}", "domain": [low, high], "nticks": 6},
        }
        about: dict[str, Any] = {"xref": "paper", "yref": "paper", "y": high, "yanchor": "bottom", "yshift": 2}
        text = f"<b>{side}</b>, impact in mm (+ {plus})"
        add_text(figure, text, x=0, colour=colours.text, xanchor="left", xshift=-54, **about)
    return figure
