"""Judging a device that prints lines: it can hear nothing, so only its lines and its clock are looked at. Pure."""

from __future__ import annotations

from typing import Final

import numpy as np
from quiethand_protocol.items import TextBlock, Trouble

from quiethand.link.check_blocks import edge_error
from quiethand.link.check_findings import Finding, advice, fails, fine, not_seen
from quiethand.link.check_talk import Evidence

__all__ = ["text_findings"]

_G: Final = 9.80665
_LONG_STEP: Final = 1.5  # periods
_CLOCK_PPM: Final = 10_000.0  # a rate of turn is wrong by as much


def text_findings(evidence: Evidence) -> list[Finding]:
    blocks = [(a.at_s, a.item) for a in evidence.text if isinstance(a.item, TextBlock)]
    bad = sum(a.item.count for a in evidence.text if isinstance(a.item, Trouble))
    lines = sum(len(block) for _, block in blocks)
    asks = "every line parses: t_us,ax,ay,az,gx,gy,gz"
    do = "no spaces, no other prints without '#', under 256 bytes"
    findings = [
        fails("lines", asks, f"{bad} of {lines + bad} do not", do)
        if bad > 1  # the first may be joined in its middle
        else fine("lines", asks, f"{lines} lines")
    ]
    if lines < 20:
        return [*findings, fails("lines_enough", "lines come", f"only {lines}", "print a line for each sample")]
    return [*findings, _units(blocks[-1][1]), _steady(blocks), _clock(blocks), _gravity(blocks)]


def _units(block: TextBlock) -> Finding:
    asks = "comment lines state the units, again every 10 s"
    units = block.units
    missing = [name for name, unit in (("accel_unit", units.accel), ("gyro_unit", units.gyro)) if unit is None]
    missing += ["accel_scale"] if units.accel == "counts" and units.accel_scale is None else []
    missing += ["gyro_scale"] if units.gyro == "counts" and units.gyro_scale is None else []
    if missing:
        do = "print '# accel_unit=g' and '# gyro_unit=deg/s' (or what they are) at the start and every 10 s"
        return fails("units", asks, f"no {', '.join(missing)} in 13 s", do)
    return fine("units", asks, f"{units.accel} and {units.gyro}")


def _steady(blocks: list[tuple[float, TextBlock]]) -> Finding:
    asks = "samples come at an even rate"
    steps = np.diff(np.concatenate([block.t_us for _, block in blocks]).astype(np.float64))
    period = float(np.median(steps))
    if period <= 0:
        return fails("rate", asks, "t_us does not go forward", "t_us is microseconds when the sample was taken")
    long = int((steps > _LONG_STEP * period).sum())
    found = f"{1e6 / period:,.1f} Hz; {long} of {len(steps)} steps are over 1.5 periods"
    if long > 0.01 * len(steps):
        do = "print less, or at a higher baud: what is missing in text mode is never counted. Binary frames do better"
        return fails("rate", asks, found, do)
    return fine("rate", asks, found)


def _clock(blocks: list[tuple[float, TextBlock]]) -> Finding:
    asks = "its clock runs in microseconds"
    device_s = np.array([int(block.t_us[-1]) for _, block in blocks]) / 1e6
    error = edge_error(device_s, np.array([at for at, _ in blocks]))
    if error is None:
        return not_seen("clock", asks, "t_us does not run evenly enough, or for too short, to tell")
    ppm, sigma = error
    found = f"{ppm:+,.0f} +- {sigma:,.0f} ppm against this computer's"
    if abs(ppm) - 2 * sigma > _CLOCK_PPM:
        return fails("clock", asks, found, "t_us is microseconds: not milliseconds, not samples")
    return fine("clock", asks, found)


def _gravity(blocks: list[tuple[float, TextBlock]]) -> Finding:
    asks = "at rest the accelerometer reads gravity"
    units = blocks[-1][1].units
    scale = {"m/s2": 1.0, "g": _G, "counts": units.accel_scale, None: None}[units.accel]
    if scale is None:
        return not_seen("gravity", asks, "its unit is not known")
    values = np.concatenate([block.values[:, :3] for _, block in blocks])
    usual = float(np.median(np.linalg.norm(values, axis=1))) * scale
    found = f"{usual:.2f} m/s2, {_G:.2f} expected"
    if abs(usual - _G) > 0.1 * _G:
        return advice("gravity", asks, found, "lay it still and check again; then look at the unit and the range")
    return fine("gravity", asks, found)
