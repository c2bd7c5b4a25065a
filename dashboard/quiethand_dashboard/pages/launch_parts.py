"""The pieces of the bow and arrow page that are made anew at each move of a slider: components from launches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dash import html
from quiethand.bow.launch import Launch

from quiethand_dashboard.figures.launch import GRAIN_KG, LBF_N
from quiethand_dashboard.pages.pieces import big_figure

__all__ = ["about", "figures", "table"]

FT_M: Final = 0.3048  # exact by definition


def figures(tried: Launch, own: Launch | None, distance_m: float | None) -> list[Any]:
    """The large figures, each against the set-up's own."""

    def against(value: float, its_own: float | None, unit: str, digits: int) -> str:
        if its_own is None or abs(value - its_own) < 0.5 * 10**-digits:
            return "as in your set-up"
        more = "more" if value > its_own else "less"
        return f"{abs(value - its_own):.{digits}f} {unit} {more} than your set-up"

    ms, own_ms = tried.time_on_string_s * 1e3, None if own is None else own.time_on_string_s * 1e3
    speed = tried.arrow_speed_m_s
    yaw = tried.sensitivity_mm_per_nm.yaw
    own_yaw = None if own is None else own.sensitivity_mm_per_nm.yaw
    far = f" at {distance_m:g} m" if distance_m else ""
    return [
        _second("Time on the string", f"{ms:.1f}", "ms", against(ms, own_ms, "ms", 1)),
        _second("Rest clear", f"{tried.rest_clear_s * 1e3:.1f}", "ms", "until the nock has passed the rest"),
        _second("Arrow's speed", f"{speed:.1f}", "m/s", f"{speed / FT_M:.0f} ft/s"),
        _second(
            f"Sensitivity{far}",
            "–" if yaw is None else f"{yaw:.0f}",
            "mm per N m" if yaw is not None else "",
            "needs the bow's inertia and the distance"
            if yaw is None
            else f"sideways, of a steady torque; {against(yaw, own_yaw, 'mm', 0)}",
        ),
        _second(
            "Energy of the arrow",
            f"{tried.kinetic_energy_j:.1f}",
            "J",
            f"{100 * tried.efficiency:.0f} % of {tried.stored_energy_j:.1f} J stored",
        ),
        _second("Holding weight", f"{tried.holding_weight_n:.0f}", "N", f"{tried.holding_weight_n / LBF_N:.1f} lbf"),
    ]


def about(tried: Launch, *, invented: bool) -> str:
    """How to read the lines, and what was assumed."""
    told = ["This bow is invented, to try the page with; your own appears with its first shot."] if invented else []
    told.append(
        "Solid lines: as set here; dashed: your set-up. "
        + (
            "The draw-force curve was measured."
            if tried.curve_from == "measured"
            else "No draw-force curve is in the set-up: a generic one of its kind is assumed."
        )
    )
    told += [note[:1].upper() + note[1:] + "." for note in tried.notes]
    return " ".join(told)


def table(arrows: Sequence[tuple[str, Launch, bool]], torque_nm: float, *, own_torque: bool) -> Any:
    """A row for each arrow: name, launch, and whether the slider is at it.

    Args:
        torque_nm: the torque carried through each of them.
        own_torque: it is this archer's own.
    """
    heads = ("Arrow", "Mass", "On the string", "Rest clear", "Speed", f"Sideways of {torque_nm:.2g} N m")
    rows = []
    for name, run, here in arrows:
        sensitivity = run.sensitivity_mm_per_nm.yaw
        rows.append(
            html.Tr(
                [
                    html.Th(name, scope="row"),
                    html.Td(f"{run.arrow_mass_kg * 1e3:.1f} g, {run.arrow_mass_kg / GRAIN_KG:.0f} grain"),
                    html.Td(f"{run.time_on_string_s * 1e3:.1f} ms"),
                    html.Td(f"{run.rest_clear_s * 1e3:.1f} ms"),
                    html.Td(f"{run.arrow_speed_m_s:.1f} m/s, {run.arrow_speed_m_s / FT_M:.0f} ft/s"),
                    html.Td("not known" if sensitivity is None else f"{sensitivity * torque_nm:.1f} mm"),
                ],
                className="shown" if here else "",
            )
        )
    return [
        html.Table(
            [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)],
            className="plain-table roomy",
        ),
        html.P(
            ("The torque is your usual size: the middle of your last shots. " if own_torque else "")
            + "What a slow arrow shows, a quick one hides: the same torque is worth more at the target the longer "
            "the arrow stays on the string. Practise with the slow one, compete with the quick one, each within "
            "the maker's limits.",
            className="quiet",
        ),
    ]


def _second(title: str, number: str, unit: str, below: str) -> html.Div:
    return big_figure(title, number, unit, below, "second")
