"""The pieces of the sensor's page that are made anew as it goes on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from typing import TYPE_CHECKING, Any, Final

from dash import html
from quiethand.link.health_judge import GRAVITY_WITHIN, LINE_SHARE, NOISE_FACTOR

from quiethand_dashboard.checked import Listed
from quiethand_dashboard.pages.pieces import big_figure
from quiethand_dashboard.pages.sensor_words import KINDS
from quiethand_dashboard.telling import clock_time, day_in_words, day_words

if TYPE_CHECKING:
    from quiethand.calibrate.feedback import Feedback
    from quiethand.control import Answer
    from quiethand.link.health import LinkHealth
    from quiethand.live_status import LiveStatus
    from quiethand.store.typed_records import Calibration

__all__ = ["calibrations", "feedback", "link_figures", "mount", "recordings", "result"]

_G: Final = 9.80665
_SOFT_HZ: Final = 100.0  # common practice, no source
_FIRM_HZ: Final = 300.0

_STATES: Final = {
    "whole": "whole",
    "damaged": "damaged, but read",
    "empty": "nothing in it",
    "unreadable": "cannot be read",
    "growing": "being recorded",
    "looking": "being looked at",
    "too long": "not looked at, it is long: quiethand check",
}


def link_figures(
    status: LiveStatus | None, health: LinkHealth | None, sheet: tuple[float | None, float | None]
) -> list[Any]:
    """Each figure of the link with its unit and what it is held against."""
    if status is None or status.state == "stopped":
        return [html.P("Nothing is being recorded. Start a recording, and the link's figures show here.")]
    total = status.samples + status.lost_samples
    share = status.lost_samples / total if total else 0.0
    lost = f"{status.lost_samples:,}"
    figures = [
        _figure("Samples per second", _number(status.rate_hz, "{:,.0f}"), "", _stated(status.nominal_rate_hz)),
        _figure("Lost", lost, "samples", f"{100 * share:.2g} % of {total:,}" if share else "none is missing"),
        _figure("Bad frames", f"{status.bad_frames:,}", "", "none" if not status.bad_frames else "cable, baud rate?"),
        _figure("Bytes per second", _number(status.bytes_per_s, "{:,.0f}"), "", _line(status)),
    ]
    rest = None if health is None else health.rest
    temperature = None if health is None else health.temperature_c
    supply = None if health is None or not health.supply_mv else health.supply_mv / 1000
    low = health is not None and health.supply_low
    figures += [
        _figure("Temperature", _number(temperature, "{:.1f}"), "°C", "of the sensor"),
        _figure("Supply", _number(supply, "{:.2f}"), "V", "low: charge or change the battery" if low else ""),
    ]
    if rest is None or rest.gravity_m_s2 is None:
        below = "lay it on something heavy to see gravity and noise"
        return [*figures, _figure("At rest", "–", "", below)]
    off = rest.gravity_m_s2 / _G - 1
    gravity = f"{100 * abs(off):.1f} % {'over' if off > 0 else 'under'} standard gravity"
    if abs(off) > GRAVITY_WITHIN:
        gravity += ": too far off, calibrate the six faces"
    return [
        *figures,
        _figure("Gravity at rest", f"{rest.gravity_m_s2:.3f}", "m/s²", gravity),
        _figure("Rate noise at rest", _number(rest.gyro_density_deg_s, "{:.2g}"), "deg/s/√Hz",
                _against(rest.gyro_density_deg_s, sheet[0])),
        _figure("Acceleration noise at rest", _number(rest.accel_density_ug, "{:.3g}"), "µg/√Hz",
                _against(rest.accel_density_ug, sheet[1])),
    ]  # fmt: skip


def _figure(title: str, number: str, unit: str, below: str) -> html.Div:
    return big_figure(title, number, unit if number != "–" else "", below or " ", "second")


def _number(value: float | None, form: str) -> str:
    return "–" if value is None else form.format(value)


def _stated(nominal: float | None) -> str:
    return "" if nominal is None else f"{nominal:,.0f} stated"


def _line(status: LiveStatus) -> str:
    if status.bytes_per_s is None or status.line_bytes_per_s is None:
        return ""
    share = status.bytes_per_s / status.line_bytes_per_s
    more = ": keep under 70 %" if share > LINE_SHARE else ""
    return f"{100 * share:.0f} % of what the line carries{more}"


def _against(shown: float | None, stated: float | None) -> str:
    if shown is None:
        return ""
    if not stated:
        return "worst axis; the data sheet's can be typed below"
    times = shown / stated
    more = ": too much, look at the supply and what it lies on" if times > NOISE_FACTOR else ""
    return f"worst axis, {times:.2g} times the data sheet's{more}"


def feedback(told: Feedback | None, *, waiting: str) -> Any:
    """How a calibration goes: still or not in large type, the steps, a sentence."""
    if told is None:
        return html.P(waiting, className="quiet")
    still = big_figure(
        "Still for" if told.still_s else "It moves", f"{told.still_s:.0f}" if told.still_s else "–",
        "s" if told.still_s else "", " ", "second",
    )  # fmt: skip
    steps = html.Ul(
        [
            html.Li(
                [
                    html.Span("✓" if step.done else "○", className="mark", **{"aria-hidden": "true"}),
                    step.text,
                    html.Span(" – done" if step.done else " – to do", className="quiet"),
                ]
            )
            for step in told.steps
        ],
        className="steps",
    )
    done = sum(step.done for step in told.steps)
    # seconds that count up would be read out each second; what is done changes seldom
    heard = f"{'Still' if told.still_s else 'It moves'}; {done} of {len(told.steps)} done{', enough' * told.enough}"
    return [
        html.Div([still, steps], className="feedback-now"),
        html.P(told.words, className="feedback-words"),
        html.Div(heard, role="status", className="only-heard"),
    ]


def result(answer: Answer, *, written: bool) -> Any:
    """What `quiethand calibrate` said."""
    head = "Written." if written and answer.ok else "The result" if answer.ok else "It does not tell it yet"
    return [html.H3(head), html.Pre("\n".join(answer.lines), tabIndex="0", className="said")]


def calibrations(kept: Sequence[Calibration]) -> Any:
    """Those that are kept, the latest first."""
    if not kept:
        return html.P("None has been kept yet.", className="quiet")
    return html.Ul(
        [
            html.Li(
                f"{day_in_words(one.from_day)}: {KINDS[one.kind].name}"
                + (f", sensor {one.sensor_uid}" if one.sensor_uid else "")
                + f": {_found(one.document)}"
            )
            for one in kept
            if one.kind in KINDS
        ],
        className="kept",
    )


def _found(document: Mapping[str, Any]) -> str:
    """ "gyro_bias 0.02 deg/s, 0.15 deg/s, -0.03 deg/s"."""
    told = []
    for table in ("sensor", "bow"):
        for key, value in document.get(table, {}).items():
            if isinstance(value, Mapping):
                told.append(f"{key} " + ", ".join(f"{axis} {one}" for axis, one in value.items()))
            elif isinstance(value, list):
                told.append(f"{key} " + ", ".join(str(one) for one in value))
    return "; ".join(told)


def mount(modes: Sequence[tuple[int, float | None]]) -> Any:
    """The mount's lowest mode in the last shots, (number, Hz), the newest first."""
    known = sorted(hz for _, hz in modes if hz is not None)
    if not known:
        return html.P(
            "No shot has told it yet. Shoot; the ringing after the arrow has left shows how stiffly the sensor sits."
            if not modes
            else "The last shots rang too little to tell. That is no fault.",
            className="quiet",
        )
    middle = known[len(known) // 2]
    if middle < _SOFT_HZ:
        words = (
            f"About {middle:.0f} Hz: under {_SOFT_HZ:.0f} Hz the time on the string can't be trusted. Screw it tighter."
        )
    elif middle < _FIRM_HZ:
        words = f"About {middle:.0f} Hz. The bow itself rings from 85 Hz on, so this may be the bow and not the mount."
    else:
        words = f"About {middle:.0f} Hz: firm."
    shots = ", ".join(f"shot {number} {'not told' if hz is None else f'{hz:.0f} Hz'}" for number, hz in modes)
    return [
        html.P(words),
        html.P(f"Lowest strong ringing after the last shots: {shots}.", className="quiet"),
        html.P(
            "To try it, tap the riser with a knuckle: what rings on is loose. Check its screw before every end: "
            "a sensor that comes loose becomes a missile.",
            className="quiet",
        ),
    ]


def recordings(found: Sequence[Listed], zone: tzinfo) -> Any:
    """A row for each recording."""
    if not found:
        return html.P("No recording yet. Start one above, or run quiethand live --port PORT.", className="quiet")
    heads = ("Recording", "State", "Begun", "Length", "Shots", "Size")
    rows = [
        html.Tr(
            [
                html.Th(one.name, scope="row"),
                html.Td(_STATES[one.state]),
                html.Td(f"{day_words(one.begun_unix_s, zone)}, {clock_time(one.begun_unix_s, zone)}"),
                html.Td("" if one.duration_s is None else _length(one.duration_s)),
                html.Td("" if one.shots is None else str(one.shots)),
                html.Td(f"{one.size_bytes / 1e6:.1f} MB"),
            ]
        )
        for one in found
    ]
    return html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)],
        className="plain-table roomy",
    )


def _length(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02} s" if minutes else f"{rest} s"
