"""What a check or a watch of a link found, for people and for scripts."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

from quiethand.link.health_judge import LINE_SHARE

if TYPE_CHECKING:
    from quiethand.link.check_findings import Finding
    from quiethand.link.check_talk import Evidence
    from quiethand.link.health import LinkHealth
    from quiethand.link.health_judge import Densities

__all__ = ["check_object", "check_text", "health_lines", "health_object", "health_text"]

_WORDS: Final = {"ok": "ok", "fails": "FAILS", "advice": "advice", "not_seen": "not seen"}
_WIDTH: Final = 110
_INDENT: Final = 10


def check_text(port: str, evidence: Evidence, findings: Sequence[Finding]) -> str:
    """A line for each thing asked, what was found, and for what is wrong, what to do."""
    lines = [f"{port}: {_who(evidence)}", ""]
    for finding in findings:
        lines.append(f"{_WORDS[finding.verdict]:<{_INDENT}}{finding.asks}: {finding.found}")
        if finding.do:
            lines += textwrap.wrap(
                finding.do, _WIDTH, initial_indent=" " * _INDENT + "> ", subsequent_indent=" " * (_INDENT + 2)
            )
    return "\n".join([*lines, "", _sum(findings)])


def check_object(port: str, evidence: Evidence, findings: Sequence[Finding]) -> str:
    """The same as JSON."""
    counts = {verdict: sum(f.verdict == verdict for f in findings) for verdict in _WORDS}
    return json.dumps(
        {
            "schema": 1,
            "port": port,
            "device": _who(evidence),
            "mode": evidence.mode,
            "all_right": not counts["fails"],
            "counts": counts,
            "findings": [asdict(finding) for finding in findings],
        },
        indent=1,
    )


def _who(evidence: Evidence) -> str:
    from quiethand.link.check_blocks import last_description

    said = last_description(evidence.arrivals)
    if said is None:
        return "a device that prints lines (text mode): it hears no commands, so less can be checked"
    return f"{said.sensor or 'a sensor'}, {said.firmware or 'unnamed firmware'}, uid {said.uid.hex()}"


def _sum(findings: Sequence[Finding]) -> str:
    failing = [finding.name for finding in findings if finding.verdict == "fails"]
    if not failing:
        head = f"all right: nothing of {len(findings)} things asked fails"
    else:
        head = f"{len(failing)} of {len(findings)} fail: {', '.join(failing)}"
    advised, unseen = (sum(f.verdict == verdict for f in findings) for verdict in ("advice", "not_seen"))
    more = [f"{advised} with advice"] * bool(advised) + [f"{unseen} could not be seen"] * bool(unseen)
    return "; ".join([head, *more])


def health_lines(health: LinkHealth, densities: Densities) -> list[tuple[str, str]]:
    """Each figure: its name, and the figure with its unit; what is not known says so."""
    return [
        ("samples", f"{health.samples:,} in {health.seconds:.0f} s"),
        ("rate", _rate(health)),
        ("lost", _lost(health)),
        ("bad lines" if health.mode == "text" else "bad frames", f"{health.bad_frames:,}"),
        ("blocks", _blocks(health)),
        ("bytes", _bytes(health)),
        ("temperature", _known(health.temperature_c, "{:.1f} degC")),
        ("supply", _known(health.supply_mv, "{:,} mV") + (", low" if health.supply_low else "")),
        *_rest(health, densities),
    ]


def health_text(port: str, health: LinkHealth, densities: Densities, wrong: Sequence[tuple[str, str]]) -> str:
    """The report of a watch."""
    lines = [f"{port}: {_sensor(health)}", ""]
    lines += [f"{name:<14}{value}" for name, value in health_lines(health, densities)]
    lines.append("")
    for what, do in wrong:
        lines += [f"{what}:", f"    {do}"]
    return "\n".join(lines + ([] if wrong else ["all right"]))


def health_object(port: str, health: LinkHealth, densities: Densities, wrong: Sequence[tuple[str, str]]) -> str:
    """The same as JSON."""
    values = {
        "schema": 1,
        "port": port,
        **asdict(health),
        "line_share": health.line_share,
        "stated_gyro_density_deg_s": densities[0],
        "stated_accel_density_ug": densities[1],
        "all_right": not wrong,
        "problems": [{"found": what, "do": do} for what, do in wrong],
    }
    return json.dumps(_rounded(values), indent=1)


def _rounded(value: object) -> object:
    """Figures as far as they mean something."""
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    if isinstance(value, float):
        return float(f"{value:.6g}")
    return [_rounded(inner) for inner in value] if isinstance(value, list | tuple) else value


def _sensor(health: LinkHealth) -> str:
    if health.mode == "text":
        return "a device that prints lines (text mode)"
    return f"{health.sensor or 'a sensor'}, uid {health.uid}" if health.uid else "nobody described it"


def _known(value: float | None, form: str) -> str:
    return "not known" if value is None else form.format(value)


def _rate(health: LinkHealth) -> str:
    stated = "" if health.nominal_rate_hz is None else f"; {health.nominal_rate_hz:,g} Hz stated"
    return _known(health.rate_hz, "{:,.1f} Hz over the last 3 s") + stated


def _lost(health: LinkHealth) -> str:
    if health.lost_samples is None:
        return f"nobody counts in text mode; {health.loss_places} gaps between lines"
    if not health.lost_samples:
        return "none"
    in_device = health.lost_in_device or 0
    share = health.lost_samples / (health.samples + health.lost_samples)
    places = f"{health.loss_places} place{'' if health.loss_places == 1 else 's'}"
    return f"{health.lost_samples:,} samples ({share:.2%}) in {places}; {in_device:,} of them in the device"


def _blocks(health: LinkHealth) -> str:
    if health.block_interval_ms is None or health.late_ms_median is None:
        return "not known"
    return (
        f"one each {health.block_interval_ms:.2f} ms; late by {health.late_ms_median:.1f} ms (median), "
        f"{health.late_ms_95:.1f} ms (one in 20), {health.late_ms_max:.1f} ms (worst)"
    )


def _bytes(health: LinkHealth) -> str:
    text = _known(health.bytes_per_s, "{:,.0f} a second")
    if health.line_share is None or health.line_bytes_per_s is None:
        return text
    return f"{text}, {health.line_share:.0%} of the line's {health.line_bytes_per_s:,.0f} (keep under {LINE_SHARE:.0%})"


def _rest(health: LinkHealth, densities: Densities) -> list[tuple[str, str]]:
    rest = health.rest
    if rest.gravity_m_s2 is None or rest.gyro_density_deg_s is None or rest.accel_density_ug is None:
        return [("at rest", "it has not lain still yet; lay it on something heavy to see gravity and noise")]
    lines = [("gravity", f"{rest.gravity_m_s2:.3f} m/s2 over {rest.seconds:.0f} s at rest")]
    rows = (
        ("rate noise", rest.gyro_density_deg_s, densities[0], "deg/s", rest.gyro_bandwidth_hz),
        ("accel noise", rest.accel_density_ug, densities[1], "ug", rest.accel_bandwidth_hz),
    )
    for name, shown, stated, unit, band in rows:
        against = "" if stated is None else f"; the data sheet's {stated:.3g}, {shown / stated:.2f} times that"
        over = "" if band is None else f" (worst axis, noise bandwidth {band:.0f} Hz)"
        lines.append((name, f"{shown:.3g} {unit}/sqrt(Hz){against}{over}"))
    return lines
