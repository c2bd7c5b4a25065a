"""The pieces of the latest shot's page that are made anew for each shot: components from records, nothing fetched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dash import dcc, html
from quiethand.axes import AXIS_NAMES

from quiethand_dashboard import telling
from quiethand_dashboard.pages.marks import badges
from quiethand_dashboard.pages.pieces import AXIS_ORDER, big_figure

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.records import RejectedRecord, ShotRecord
    from quiethand.store.typed_records import ShotMarks

    from quiethand_dashboard.figures.traces import Band

__all__ = ["band_words", "budget", "flags", "glance", "head", "notes", "recent", "rejected", "since"]


def head(shot: ShotRecord, newest: ShotRecord, marks: ShotMarks, zone: tzinfo) -> list[Any]:
    """Which shot it is, what is said about it, the way to its samples and back to the newest."""
    names = [name for name in (shot.archer, shot.bow, shot.arrow) if name]
    said = [
        html.Span(f"Shot {shot.number}", className="shot-number"),
        html.Span(f"{telling.clock_time(shot.unix_s, zone)}, {telling.day_words(shot.unix_s, zone)}"),
        *(html.Span(name) for name in names),
        *badges(marks),
        dcc.Link("Note or inspect", href=f"/shot?shot={shot.id}"),
    ]
    if shot.id != newest.id:
        said.append(dcc.Link("Back to the newest shot", href="/", className="newest"))
    return said


def glance(contract: Mapping[str, Any], distance_m: float | None, limit_mm: float | None) -> list[Any]:
    """The large figures: time on the string, what the turn is worth at the target, the turn itself."""
    at = contract["at_departure"]
    shift, spread = at["pointing_shift_mm"], at["pointing_shift_sigma_mm"]
    limit = f"limit {limit_mm:.0f} mm" if limit_mm else ""
    far = f" at {distance_m:g} m" if distance_m else " at the target"
    release, clear = contract.get("release_s"), contract.get("rest_clear_s")
    to_rest = "" if release is None or clear is None else f"rest clear at {1e3 * (clear - release):.1f} ms"
    turned = [
        _turn(axis, telling.said_axis(axis, at["rotation_deg"][axis], at["rotation_sigma_deg"][axis]))
        for axis in AXIS_ORDER
    ]
    return [
        _said("Time on the string", telling.said_window(contract), to_rest, "first"),
        _said("Sideways" + far, telling.said_shift("right", shift["right"], spread["right"]), limit, "first"),
        _said("Height" + far, telling.said_shift("up", shift["up"], spread["up"]), limit, "first"),
        *turned,
    ]


def _turn(axis: str, said: telling.Said) -> html.Div:
    """The way on a line of its own: "top limb right" is too long to stand beside the figure."""
    unit, _, way = said.unit.partition(" ") if said.sigma else (said.unit, "", "")
    below = [html.Span(way, className="way"), said.sigma]
    return big_figure(f"{axis.capitalize()} at departure", said.number, unit, below, "second")


def _said(title: str, said: telling.Said, beside: str, rank: str) -> html.Div:
    return big_figure(title, said.number, said.unit, "  ·  ".join(t for t in (said.sigma, beside) if t), rank)


def flags(
    found: Sequence[Mapping[str, Any]], cautions: Sequence[str], *, usual_known: bool, limit_known: bool
) -> list[Any]:
    """Cautions first, then each flag with its mark and its text; or a line that says there is none."""
    warned = [html.P([html.B("Caution: "), text], className="caution") for text in cautions]
    if not found:
        within = ["within the limit"] if limit_known else []
        usual = ["nothing unusual for this archer"] if usual_known else []
        words = ", ".join(within + usual) or "nothing to flag"
        return [*warned, html.P(words[0].upper() + words[1:] + ".", className="flag")]
    return warned + [
        html.P(
            [
                html.Span(telling.flag_mark(f["verdict"])[0], className="mark", **{"aria-hidden": "true"}),
                html.B(telling.flag_mark(f["verdict"])[1].capitalize() + ": "),
                f["text"],
            ],
            className="flag",
        )
        for f in found
    ]


def band_words(band: Band | None) -> str:
    """What is shaded behind the traces."""
    ground = "Shaded blue: the time on the string. "
    if band is None:
        return ground + "The grey band of this archer's usual appears after some more shots with this bow and arrow."
    return ground + f"Grey band: this archer's usual, from {band.shots} earlier shots with this bow and arrow."


def notes(shot: ShotRecord) -> Any:
    """Where the departure was taken from, and what is missing and why."""
    source = {"shock": "the shock at brace height", "launch_model": "the launch model", "assumed": "an assumed time"}
    told = [f"The departure was taken from {source.get(shot.departure_from, shot.departure_from)}.", *shot.notes]
    return html.Ul([html.Li(note) for note in told])


def recent(
    shots: Sequence[ShotRecord], flagged: Mapping[int, Sequence[Mapping[str, Any]]], shown: int, zone: tzinfo
) -> Any:
    """A row for each of the day's last shots, with its flags; the one shown is marked."""
    rows = []
    for shot in shots:
        at = shot.contract["at_departure"]["pointing_shift_mm"]
        rows.append(
            html.Tr(
                [
                    html.Td(dcc.Link(f"{shot.number}", href=f"/?shot={shot.id}", title=f"Show shot {shot.number}")),
                    html.Td(telling.clock_time(shot.unix_s, zone)[:5]),
                    html.Td(telling.said_window(shot.contract).number, className="right"),
                    html.Td(telling.said_shift("right", at["right"]).text.replace(" mm", ""), className="right"),
                    html.Td(telling.said_shift("up", at["up"]).text.replace(" mm", ""), className="right"),
                    html.Td(
                        telling.flag_marks(flagged[shot.id]),
                        className="marks",
                        title=", ".join(telling.flag_mark(f["verdict"])[1] for f in flagged[shot.id]),
                    ),
                ],
                className="shown" if shot.id == shown else "",
            )
        )
    head = [
        html.Th(t, scope="col", className=c)
        for t, c in (
            ("Shot", ""),
            ("Time", ""),
            ("On string, ms", "right"),
            ("Sideways, mm", "right"),
            ("Height, mm", "right"),
            ("", ""),
        )
    ]
    return [
        html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)], className="plain-table"),
        html.P("▲ over the limit   ◇ too close to tell   ○ unusual", className="quiet key"),
    ]


def since(shot: ShotRecord, found: Sequence[RejectedRecord], zone: tzinfo) -> list[Any]:
    """A line on what came after the newest shot and was not counted, so that nobody waits for it in vain."""
    later = [r for r in found if r.unix_s > shot.unix_s]
    if not later:
        return []
    last = later[0]
    words = f"{telling.clock_time(last.unix_s, zone)}: not counted as a shot, {last.reason.replace('_', ' ')}. "
    return [html.P([html.B(words), last.text], className="after")]


def rejected(found: Sequence[RejectedRecord], zone: tzinfo) -> Any:
    """The last movements that could have been a shot and were not."""
    if not found:
        return html.P(
            "Nothing so far. Movements that could have been a shot and were not are listed here, with the reason.",
            className="quiet",
        )
    return html.Ul(
        [
            html.Li([html.B(f"{telling.clock_time(r.unix_s, zone)} {r.reason.replace('_', ' ')}: "), r.text])
            for r in found
        ],
        className="rejected",
    )


def budget(rows: Sequence[Mapping[str, Any]]) -> Any:
    """The uncertainty of the rotation by source."""
    if not rows:
        return html.P("The uncertainty of this shot's rotation is not known.", className="quiet")
    head = [
        html.Th("Source", scope="col"),
        html.Th("Kind", scope="col"),
        *(html.Th(f"{axis}, deg", scope="col", className="right") for axis in AXIS_NAMES),
    ]
    body = [
        html.Tr(
            [
                html.Td(row["source"].replace("_", " ")),
                html.Td(row["kind"]),
                *(
                    html.Td("–" if row["deg"][axis] is None else f"{row['deg'][axis]:.4f}", className="right")
                    for axis in AXIS_NAMES
                ),
            ]
        )
        for row in rows
    ]
    return html.Div(
        html.Table([html.Thead(html.Tr(head)), html.Tbody(body)], className="plain-table"),
        className="wide",
        tabIndex="0",
        role="region",
        **{"aria-label": "Uncertainty by source"},
    )
