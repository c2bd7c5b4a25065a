"""What bow and arrow do by the launch model: the draw-force curve, the string's way, arrows side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from quiethand.bow.launch import Launch

from quiethand_dashboard.figures.palette import AXIS_COLOURS, DASHES, OKABE_ITO, Scheme, ink
from quiethand_dashboard.figures.style import Figure, add_text, add_trace, axis_look, bare_figure, panel_domain, plain

__all__ = ["GRAIN_KG", "LBF_N", "ArrowPoint", "arrows_figure", "draw_force_figure", "stroke_figure"]

# Exact by definition: the pound of 0.45359237 kg, 7000 grains to the pound, standard gravity, the inch.
GRAIN_KG: Final = 64.79891e-6
LBF_N: Final = 4.4482216152605
INCH_M: Final = 0.0254

_OWN, _TRIED = DASHES[1], DASHES[0]


def _lines_colour(scheme: Scheme) -> str:
    """The launch is about no axis of rotation, so that its lines take none of the axes' colours."""
    return OKABE_ITO["sky blue"] if scheme == "dark" else "#24527a"


def draw_force_figure(tried: Launch, own: Launch | None, scheme: Scheme) -> Figure:
    """Force against the string's distance from the pivot point: as the sliders are, solid; the set-up's own, dashed."""
    colours, colour = ink(scheme), _lines_colour(scheme)
    figure = bare_figure(scheme, height=460, margin=(58, 58, 26, 48))
    figure["layout"] |= {"uirevision": "draw-force"}
    for run, dash, name in ((own, _OWN, "your set-up"), (tried, _TRIED, "as set here")):
        if run is None:
            continue
        where, force = _curve(run)
        add_trace(
            figure,
            "scatter",
            x=(where * 100).astype(np.float32),
            y=force.astype(np.float32),
            mode="lines",
            name=name,
            line={"color": colour, "width": 2.4 if dash == _TRIED else 1.6, "dash": dash},
            fill="tozeroy" if dash == _TRIED else None,
            fillcolor=colours.window,
            customdata=np.column_stack([where / INCH_M, force / LBF_N]).astype(np.float32),
            hovertemplate="%{y:.0f} N (%{customdata[1]:.1f} lbf) at %{x:.1f} cm (%{customdata[0]:.1f} in)"
            f"<extra>{name}</extra>",
        )
    top = 1.08 * max(float(_curve(run)[1].max()) for run in (tried, own) if run is not None)
    title = axis_look(scheme)["title"]
    figure["layout"] |= {
        "xaxis": axis_look(scheme) | {"title": title | {"text": "string to pivot point, cm"}},
        "yaxis": axis_look(scheme) | {"title": title | {"text": "drawing force, N"}, "range": [0, top]},
        "yaxis2": axis_look(scheme)
        | {
            "overlaying": "y",
            "side": "right",
            "range": [0, top / LBF_N],
            "title": title | {"text": "lbf"},
            "showgrid": False,
            "tickmode": "linear",
            "dtick": 10,
            "zeroline": False,
            "fixedrange": True,
        },
    }
    add_trace(figure, "scatter", x=[None], y=[None], yaxis="y2", hoverinfo="skip")
    words = f"shaded: the stored energy, {tried.stored_energy_j:.0f} J"
    add_text(
        figure,
        words,
        x=0,
        y=1,
        xref="paper",
        yref="paper",
        colour=colours.quiet,
        xanchor="left",
        yanchor="bottom",
        yshift=3,
        size=12,
    )
    return figure


def _curve(run: Launch) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distance from the pivot point in m and drawing force in N, from the launch's own steps: brace to full draw."""
    return run.curve.full_draw_m - run.travel_m[::-1], run.force_n[::-1]


def stroke_figure(tried: Launch, own: Launch | None, scheme: Scheme) -> Figure:
    """The string's travel, its speed and the force on it against time from release; ends where the arrow leaves."""
    colours, colour = ink(scheme), _lines_colour(scheme)
    figure = bare_figure(scheme, height=460, margin=(58, 16, 4, 46))
    figure["layout"] |= {"uirevision": "stroke"}
    end = 1.04 * max(run.time_on_string_s for run in (tried, own) if run is not None) * 1e3
    panels = (
        ("String's travel", "cm", "travel_m", 100.0),
        ("Speed", "m/s", "speed_m_s", 1.0),
        ("Force", "N", "force_n", 1.0),
    )
    for row, (title, unit, name, factor) in enumerate(panels):
        number = "" if row == 0 else str(row + 1)
        low, high = panel_domain(row, 3)
        figure["layout"] |= {
            f"xaxis{number}": axis_look(scheme)
            | {"anchor": f"y{number}", "range": [0, end], "showticklabels": row == 2, "matches": "x" if row else None}
            | (
                {"title": {"text": "milliseconds from release", "font": {"size": 13, "color": colours.quiet}}}
                if row == 2
                else {}
            ),
            f"yaxis{number}": axis_look(scheme)
            | {"anchor": f"x{number}", "domain": [low, high], "nticks": 5, "rangemode": "tozero"},
        }
        place: dict[str, Any] = {"xref": "paper", "yref": "paper", "yanchor": "bottom", "yshift": 2, "xanchor": "left"}
        add_text(figure, f"<b>{title}</b>, {unit}", x=0, y=high, colour=colours.text, **place)
        for run, dash, name_of in ((own, _OWN, "your set-up"), (tried, _TRIED, "as set here")):
            if run is not None:
                add_trace(
                    figure,
                    "scatter",
                    x=(run.time_s * 1e3).astype(np.float32),
                    y=(getattr(run, name) * factor).astype(np.float32),
                    mode="lines",
                    name=name_of,
                    xaxis=f"x{number}",
                    yaxis=f"y{number}",
                    line={"color": colour, "width": 2.4 if dash == _TRIED else 1.6, "dash": dash},
                    hovertemplate="%{y:.3g} " + unit + " at %{x:.1f} ms<extra>" + name_of + "</extra>",
                )
    return figure


@dataclass(frozen=True)
class ArrowPoint:
    """One arrow of those side by side."""

    name: str
    mass_kg: float
    time_on_string_s: float
    shift_mm: float | None  # sideways at the target, of the torque that is carried through
    tried: bool  # the one the slider is at


def arrows_figure(line: Sequence[ArrowPoint], arrows: Sequence[ArrowPoint], torque_nm: float, scheme: Scheme) -> Figure:
    """Time on the string, and what one steady torque is worth at the target, against the arrow's mass.

    Args:
        line: points of rising mass that the curves are drawn through.
        arrows: those to mark and name.
    """
    colours = ink(scheme)
    figure = bare_figure(scheme, height=440, margin=(58, 16, 4, 48))
    figure["layout"] |= {"hovermode": "closest", "uirevision": "arrows"}
    middle = sum(p.mass_kg for p in line) / max(len(line), 1)
    known = all(p.shift_mm is not None for p in line)
    panels: list[tuple[str, Callable[[ArrowPoint], Any], str]] = [
        ("Time on the string, ms", lambda p: p.time_on_string_s * 1e3, _lines_colour(scheme))
    ]
    if known:
        panels.append((f"Sideways of a steady {torque_nm:.2g} N m, mm", lambda p: p.shift_mm, AXIS_COLOURS["yaw"]))
    for row, (title, value, colour) in enumerate(panels):
        number = "" if row == 0 else str(row + 1)
        low, high = panel_domain(row, len(panels), heading=0.12)
        last = row == len(panels) - 1
        figure["layout"] |= {
            f"xaxis{number}": axis_look(scheme)
            | {"anchor": f"y{number}", "showticklabels": last, "matches": "x" if row else None, "zeroline": False}
            | ({"title": {"text": "arrow's mass, g", "font": {"size": 13, "color": colours.quiet}}} if last else {}),
            f"yaxis{number}": axis_look(scheme)
            | {"anchor": f"x{number}", "domain": [low, high], "nticks": 5, "zeroline": False},
        }
        add_text(
            figure,
            f"<b>{title}</b>",
            x=0,
            y=high,
            colour=colours.text,
            xanchor="left",
            xref="paper",
            yref="paper",
            yanchor="bottom",
            yshift=2,
        )
        place = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
        add_trace(
            figure,
            "scatter",
            x=np.array([p.mass_kg * 1e3 for p in line], dtype=np.float32),
            y=np.array([value(p) for p in line], dtype=np.float32),
            mode="lines",
            line={"color": colour, "width": 2},
            hoverinfo="skip",
            **place,
        )
        add_trace(
            figure,
            "scatter",
            x=[p.mass_kg * 1e3 for p in arrows],
            y=[value(p) for p in arrows],
            mode="markers+text",
            text=[plain(p.name) if row == 0 else "" for p in arrows],
            textposition=["top left" if p.mass_kg > middle else "bottom right" for p in arrows],
            textfont={"size": 12, "color": colours.text},
            cliponaxis=False,
            marker={
                "size": [13 if p.tried else 9 for p in arrows],
                "color": colour,
                "symbol": ["circle" if p.tried else "circle-open" for p in arrows],
                "line": {"width": 2, "color": colour},
            },
            customdata=[plain(p.name) for p in arrows],
            hovertemplate="%{customdata}: %{y:.3g} at %{x:.1f} g<extra></extra>",
            **place,
        )
    return figure
