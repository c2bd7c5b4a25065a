"""What is wrong with a link, in words, and what to do about it. Pure."""

from __future__ import annotations

from typing import Final

from quiethand.link.health import LinkHealth

__all__ = ["GRAVITY_WITHIN", "LINE_SHARE", "NOISE_FACTOR", "Densities", "problems"]

LINE_SHARE: Final = 0.70  # the wire format's
_RATE_WITHIN: Final = 0.01
_LATE_MS: Final = 200.0  # over it a shot shows on the page noticeably later
_GRAVITY: Final = 9.80665
GRAVITY_WITHIN: Final = 0.02  # of it; data sheets allow an offset of some 40 mg, a scale off by 1 %
NOISE_FACTOR: Final = 1.5  # data sheets state a typical figure; specimens differ by some tens of per cent

Densities = tuple[float | None, float | None]  # gyro deg/s/sqrt(Hz), accelerometer ug/sqrt(Hz)


def problems(health: LinkHealth, densities: Densities = (None, None)) -> list[tuple[str, str]]:
    """Each thing that is wrong and what to do, the worst first; empty: all is right."""
    found: list[tuple[str, str]] = []
    if not health.samples:
        return [("no samples came", "'quiethand link PORT --check' says what the device does not do")]
    if health.restarts:
        found.append(
            (f"it restarted {health.restarts} times", "look at the supply: a brown-out, a loose plug, a watchdog")
        )
    if health.lost_samples:
        in_device = health.lost_in_device or 0
        on_line = health.lost_samples - in_device
        if in_device:
            do = "a lower rate, a faster line, or a larger buffer in the firmware"
            found.append((f"{in_device:,} samples were lost in the device", do))
        if on_line > 0:
            do = "a shorter cable, a line that is not shared, the right baud rate"
            found.append((f"{on_line:,} samples were lost on the line", do))
    if health.mode == "text" and health.loss_places:
        found.append((f"{health.loss_places} gaps between lines", "print less, or at a higher baud rate"))
    if health.bad_frames:
        do = "a shorter cable, the right baud rate, no prints between frames"
        found.append((f"{health.bad_frames:,} bad {'lines' if health.mode == 'text' else 'frames'}", do))
    share = health.line_share
    if share is not None and share > LINE_SHARE:
        do = "keep under 70 %: a lower rate, or a higher baud rate on both sides"
        found.append((f"the line is {share:.0%} full", do))
    found += _rate(health)
    if health.late_ms_95 is not None and health.late_ms_95 > _LATE_MS:
        do = "send a block once it is full; a busy computer or a radio link does this too. Shots are not hurt by it"
        found.append((f"one block in twenty comes over {health.late_ms_95:.0f} ms late", do))
    if health.supply_low:
        found.append(("the device says that its supply is low", "charge or change the battery"))
    return found + _rest(health, densities)


def _rate(health: LinkHealth) -> list[tuple[str, str]]:
    rate, nominal = health.rate_hz, health.nominal_rate_hz
    if rate is None or nominal is None or health.seconds < 5 or abs(rate / nominal - 1) <= _RATE_WITHIN:
        return []
    do = "'quiethand link PORT --check' tells whether the sensor's rate or its clock is off"
    return [(f"samples come at {rate:,.0f} Hz, {nominal:,g} Hz are stated", do)]


def _rest(health: LinkHealth, densities: Densities) -> list[tuple[str, str]]:
    rest, found = health.rest, []
    if rest.gravity_m_s2 is not None and abs(rest.gravity_m_s2 - _GRAVITY) > GRAVITY_WITHIN * _GRAVITY:
        do = "'quiethand calibrate six-face' measures offset and scale; over 10 % off, look at range and scale"
        found.append((f"at rest it reads {rest.gravity_m_s2:.3f} m/s2, not {_GRAVITY:.3f}", do))
    pairs = (
        ("rate", rest.gyro_density_deg_s, densities[0], "deg/s"),
        ("acceleration", rest.accel_density_ug, densities[1], "ug"),
    )
    for what, shown, stated, unit in pairs:
        if shown is not None and stated is not None and shown > NOISE_FACTOR * stated:
            do = "does it lie on something heavy? Then look at the supply's ripple, the filter set, a loose mount"
            words = f"{what} noise at rest is {shown:.3g} {unit}/sqrt(Hz), the data sheet's is {stated:.3g}"
            found.append((words, do))
    return found
