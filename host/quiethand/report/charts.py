"""Small figures as SVG text: no script, nothing from outside, readable in black and white."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from quiethand.colours import AXIS_COLOURS
from quiethand.judge.usual import usual
from quiethand.report.gathered import Row, ShotSet, Shown
from quiethand.report.said import short_day
from quiethand.report.usual_part import Part, values_of
from quiethand.words import axis_direction

if TYPE_CHECKING:
    from quiethand.report.group_part import GroupPart

__all__ = ["impacts_chart", "parts_chart", "strip"]

_MOST_DOTS: Final = 150  # more would lie on each other at this width: then a day is one mark
_ELLIPSE_95: Final = 2.448  # standard deviations that hold 95 % of two normal directions: sqrt(-2 ln 0.05)
_DAY_GAP: Final = 0.8  # between days, in shots
_NAME_PX: Final = 50  # that the name of a day takes


def _mark(kind: str, text: str | None = None, **attributes: str | float) -> Markup:
    """One element; numbers to a tenth of a pixel, every text escaped."""
    made = Markup("<{}").format(kind)
    for name, value in attributes.items():
        shown = value if isinstance(value, str) else f"{value:.1f}".removesuffix(".0")
        made += Markup(' {}="{}"').format(name.rstrip("_").replace("_", "-"), shown)
    return made + (Markup("/>") if text is None else Markup(">{}</{}>").format(text, kind))


def _svg(width: float, height: float, label: str, marks: Sequence[Markup]) -> Markup:
    head = Markup('<svg viewBox="0 0 {} {}" role="img" aria-label="{}">').format(f"{width:g}", f"{height:g}", label)
    return head + Markup("").join(marks) + Markup("</svg>")


def strip(one: ShotSet, shown: Shown, *, width: float = 520, height: float = 92) -> Markup:
    """One measure shot by shot (day by day where there are many), with the usual band; "" where it is not known."""
    values = values_of(one.rows, shown)
    known, before = values[np.isfinite(values)], values_of(one.earlier, shown)
    if not len(known) or shown.axis not in AXIS_COLOURS:
        return Markup("")
    band = usual(before.tolist(), resolution=1e-9) or usual(known.tolist(), resolution=1e-9)
    ends = [*known.tolist(), 0.0, *((band.low, band.high) if band else ())]
    pad = 0.08 * (max(ends) - min(ends)) or 1.0
    low, high = min(ends) - pad, max(ends) + pad
    left, right, top, bottom = 68.0, width - 8, 8.0, height - 20

    def y(value: float) -> float:
        return float(bottom - (value - low) / (high - low) * (bottom - top))

    marks = []
    if band is not None:
        marks.append(
            _mark("rect", class_="band", x=left, y=y(band.high), width=right - left, height=y(band.low) - y(band.high))
        )
    for tick in _ticks(low, high):
        word = f" {axis_direction(shown.axis, tick)}" if tick else ""
        marks.append(_mark("line", class_="grid", x1=left, x2=right, y1=y(tick), y2=y(tick)))
        marks.append(_mark("text", f"{abs(tick):g}{word}", class_="tick end", x=left - 5, y=y(tick) + 3.5))
    marks += _series(one.rows, values, (left, right, bottom), y, AXIS_COLOURS[shown.axis])
    label = f"{shown.label}, {len(known)} shots" + ("; the band is where 99 of 100 usual shots lie" if band else "")
    return _svg(width, height, label, marks)


def _series(
    rows: Sequence[Row],
    values: NDArray[np.float64],
    frame: tuple[float, float, float],
    y: Callable[[float], float],
    colour: str,
) -> list[Markup]:
    """Shots as dots, or days as a dot with its middle half where there are many; the days named below."""
    left, right, bottom = frame
    days = [row["day"] for row in rows]
    place = {day: i for i, day in enumerate(dict.fromkeys(days))}
    by_day = len(rows) > _MOST_DOTS
    slots = np.array([place[day] if by_day else i + _DAY_GAP * place[day] for i, day in enumerate(days)])
    step = (right - left) / (slots[-1] + 1)
    x = left + step * (slots + 0.5)
    marks = []
    first = {day: days.index(day) for day in place}
    if by_day:
        for day, at in first.items():
            own = values[[i for i, other in enumerate(days) if other == day]]
            if np.isfinite(own).any():
                lower, middle, upper = np.nanpercentile(own, [25, 50, 75])
                marks.append(_mark("line", stroke=colour, stroke_width=2, x1=x[at], x2=x[at], y1=y(lower), y2=y(upper)))
                marks.append(_mark("circle", fill=colour, cx=x[at], cy=y(middle), r=3))
    else:
        radius = min(3.2, max(1.6, 0.32 * step))
        shown = zip(x.tolist(), values.tolist(), strict=True)
        marks += [_mark("circle", fill=colour, cx=at, cy=y(v), r=radius) for at, v in shown if math.isfinite(v)]
    named = -math.inf
    for day, at in first.items():
        edge = float(x[at] - step / 2)
        marks.append(_mark("line", class_="day", x1=edge, x2=edge, y1=bottom, y2=bottom + 4))
        if edge - named > _NAME_PX and right - edge > _NAME_PX / 2:  # else the words would run into each other
            marks.append(_mark("text", short_day(day), class_="tick", x=edge + 2, y=bottom + 14))
            named = edge
    return marks


def parts_chart(parts: Sequence[Part], *, width: float = 340) -> Markup:
    """Carried in, struck and pressed of yaw and pitch: the middle as a bar, the middle half of the shots as a line."""
    if not parts:
        return Markup("")
    row_px, gap_px = 17.0, 10.0
    reach = max(max(abs(part.low), abs(part.high), abs(part.middle)) for part in parts) or 1.0
    left, right = 112.0, width - 62
    marks, top, axis = [], 2.0, parts[0].axis

    def x(value: float) -> float:  # + is nose left and nose down: to the left here
        return (left + right) / 2 - value / reach * (right - left) / 2

    for part in parts:
        if part.axis != axis:
            top, axis = top + gap_px, part.axis
        start, end = sorted((x(0), x(part.middle)))
        way = axis_direction(part.axis, part.middle) if f"{part.middle:.3f}" not in ("0.000", "-0.000") else ""
        marks += [
            _mark("text", f"{part.axis}, {part.name}", class_="tick end", x=left - 26, y=top + 12),
            _mark("rect", fill=AXIS_COLOURS[axis], x=start, y=top + 4, width=max(end - start, 0.8), height=9),
            _mark("line", class_="half", x1=x(part.low), x2=x(part.high), y1=top + 8.5, y2=top + 8.5),
            _mark("text", f"{abs(part.middle):.3f} {way}".strip(), class_="tick end", x=width - 1, y=top + 12),
        ]
        top += row_px
    marks.append(_mark("line", class_="zero", x1=x(0), x2=x(0), y1=0, y2=top + 2))
    return _svg(width, top + 4, "Where the turn came from, in degrees: carried in, struck and pressed", marks)


def impacts_chart(found: GroupPart, *, size: float = 190) -> tuple[Markup, float]:
    """Impacts from the middle of the face, as the archer sees it, with the group's centre and 95 % ellipse; and how far
    the lines through the middle reach, in mm."""
    reach = 1.15 * max(max(abs(right), abs(up)) for right, up in found.points_mm) + 1.0
    if found.face is not None:
        reach = max(reach, 2.2 * found.face.ten_radius_mm)
    edge, middle = 3.0, size / 2
    scale = (middle - edge) / reach
    marks = []
    if found.face is not None:
        radii = (found.face.ring_radius_mm(ring) * scale for ring in range(1, 11))
        marks += [_mark("circle", class_="ring", cx=middle, cy=middle, r=r) for r in radii if r < middle - edge]
    marks.append(_mark("line", class_="grid", x1=edge, x2=size - edge, y1=middle, y2=middle))
    marks.append(_mark("line", class_="grid", x1=middle, x2=middle, y1=edge, y2=size - edge))
    if found.group is not None:
        shape = found.group.ellipse
        x = middle + found.group.centre_right_mm.value * scale
        y = middle - found.group.centre_up_mm.value * scale
        major, minor = (sd.value * _ELLIPSE_95 * scale for sd in (shape.major_sd_mm, shape.minor_sd_mm))
        turn = f"translate({x:.1f} {y:.1f}) rotate({-shape.angle_deg:.1f})"
        marks.append(_mark("ellipse", class_="ellipse", rx=major, ry=minor, transform=turn))
        marks.append(_mark("path", class_="centre", d=f"M{x - 5:.1f} {y:.1f}h10m-5 -5v10"))
    marks += [
        _mark("circle", class_="hit", cx=middle + right * scale, cy=middle - up * scale, r=2.2)
        for right, up in found.points_mm
    ]
    return _svg(size, size, f"Where {len(found.points_mm)} arrows hit, from the middle of the face", marks), reach


def _ticks(low: float, high: float) -> list[float]:
    """Two to five round numbers between, nothing among them where it lies within."""
    power = 10 ** math.floor(math.log10(high - low))
    step = next(power * share for share in (2.0, 1.0, 0.5, 0.2, 0.1) if (high - low) / (power * share) >= 2)
    return [round(step * i, 10) for i in range(math.ceil(low / step), math.floor(high / step) + 1)]
