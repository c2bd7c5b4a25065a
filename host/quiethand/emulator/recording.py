"""Whole recordings at once, quicker than real time: the same device, driven by a host that waits for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np
from quiethand_protocol import Clock, Command, CommandCode, Gap, Header, Session, Text, encode

from quiethand.emulator.device import Block, Device
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.setup_document import setup_document
from quiethand.emulator.text_device import TextDevice, TextUnits
from quiethand.emulator.truth import Truth

__all__ = ["CsvUnits", "write_csv", "write_recording", "write_text"]

CsvUnits = Literal["deg_g", "si"]
G = 9.80665
TURN_S = 1.0  # the host looks in this often
TAIL_S = 1.5  # of rest after the last act
DEFAULT_UNIX_S = 1_767_225_600.0  # 2026-01-01T00:00:00Z, an invented day
CSV_HEADS = {
    "deg_g": "t_ms,ax_g,ay_g,az_g,gx_deg_s,gy_deg_s,gz_deg_s",
    "si": "t_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s",
}
START = encode(Command(1, CommandCode.DESCRIBE)) + encode(Command(2, CommandCode.START))


@dataclass(frozen=True)
class _Turn:
    now_s: float
    data: bytes
    gap: bool = False  # the link was lost just before


def _drive(device: Device | TextDevice, duration_s: float | None) -> Iterator[_Turn]:
    """Start the device whenever it does not stream, look in each second, and end with the session or the time."""
    faults = device.scenario.faults
    now = 0.0
    yield _Turn(now, device.step(now, START))
    plug_s = faults.unplug_every_s or float("inf")
    while True:
        now += TURN_S
        gap = now >= plug_s
        if gap:
            yield _Turn(plug_s, device.step(plug_s))
            now = max(now, plug_s + faults.unplugged_s)
            device.power_up(now)
            plug_s = now + (faults.unplug_every_s or 0.0)
        data = device.step(now, b"" if device.streaming else START)
        over = device.sampler.over_s
        ended = over is not None and device.sampler.scene_s > over + TAIL_S
        if duration_s is not None:
            ended = now >= duration_s
        yield _Turn(now, data, gap)
        if ended:
            return


def _check_end(scenario: Scenario, duration_s: float | None) -> None:
    if scenario.shots is None and duration_s is None:
        raise ValueError("a recording ends: give shots in the scenario, or duration_s")


def write_recording(
    path: Path | str,
    scenario: Scenario,
    *,
    unix_s: float = DEFAULT_UNIX_S,
    duration_s: float | None = None,
    session: dict[str, object] | None = None,
    text_units: TextUnits | None = None,
) -> Truth:
    """Write a whole `.qhr`: HEADER, SESSION, CLOCK each second, GAP where the plug was pulled, the device's bytes.

    Args:
        path: written anew.
        scenario: what happens; `shots` or `duration_s` says how long.
        unix_s: invented time of the beginning.
        duration_s: end here even if shots are left.
        session: the set-up document; None: what `setup_document` says of this scenario.
        text_units: record text mode, in these units, in place of frames.

    Returns:
        What happened, in device seconds from the first sample's tick.
    """
    _check_end(scenario, duration_s)
    device = Device(scenario) if text_units is None else TextDevice(scenario, units=text_units)
    link = np.random.default_rng([scenario.seed, 10])
    created = datetime.fromtimestamp(unix_s, UTC).isoformat().replace("+00:00", "Z")
    document = setup_document(scenario) if session is None else session
    clocked = None
    with Path(path).open("wb") as file:
        file.write(encode(Header(created=created, software="quiethand emulator")))
        if document:
            file.write(encode(Session(document)))
        for turn in _drive(device, duration_s):
            if turn.gap:
                file.write(encode(Gap(reason="unplugged", unix_ns=round((unix_s + turn.now_s) * 1e9))))
            if text_units is None:
                file.write(turn.data)
            else:
                lines = turn.data.splitlines(keepends=True)
                for first in range(0, len(lines), 500):
                    file.write(encode(Text(b"".join(lines[first : first + 500]))))
            if device.last_sent is not None and device.last_sent != clocked:
                clocked = device.last_sent
                late = 0.001 + float(link.exponential(0.001))  # through buffers: never early
                file.write(encode(Clock(unix_ns=round((unix_s + clocked[0] + late) * 1e9), ticks=clocked[1])))
    return _truth(device, turn.now_s)


def write_text(
    path: Path | str,
    scenario: Scenario,
    *,
    units: TextUnits = "counts",
    checked: bool = False,
    duration_s: float | None = None,
) -> Truth:
    """Write the lines of a text-mode sensor as they come, with or without checksums."""
    _check_end(scenario, duration_s)
    device = TextDevice(scenario, units=units, checked=checked)
    with Path(path).open("wb") as file:
        for turn in _drive(device, duration_s):
            file.write(turn.data)
    return _truth(device, turn.now_s)


def write_csv(
    path: Path | str, scenario: Scenario, *, units: CsvUnits = "deg_g", duration_s: float | None = None
) -> Truth:
    """Write the very samples that `write_recording` sends, as CSV in the sensor's axes.

    The delays are not taken off the times: `setup_document(scenario, delays=True)` states them.
    """
    _check_end(scenario, duration_s)
    device = Device(scenario)
    settings = device.sampler.sensor.settings
    accel, gyro = settings.accel_scale, settings.gyro_scale
    seconds = 1.0
    if units == "deg_g":
        accel, gyro, seconds = accel / G, float(np.degrees(gyro)), 1000.0
    scale = np.array([accel] * 3 + [gyro] * 3)
    first: float | None = None
    until = 0.0
    with Path(path).open("w", encoding="ascii", newline="") as file:
        file.write(CSV_HEADS[units] + "\n")
        device.delivered = []
        for turn in _drive(device, duration_s):
            until = turn.now_s
            for block in device.delivered:
                first = float(block.stamp_s[0]) if first is None else first
                file.write(_rows(block, first, device.clock_scale * seconds, scale))
            device.delivered.clear()
    return _truth(device, until)


def _rows(block: Block, first_s: float, scale: float, units: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
    times = (block.stamp_s - first_s) * scale
    rows = np.column_stack((times, block.counts * units)).tolist()
    return "".join("{:.6f},{:.9g},{:.9g},{:.9g},{:.9g},{:.9g},{:.9g}\n".format(*row) for row in rows)


def _truth(device: Device | TextDevice, until_s: float) -> Truth:
    sampler = device.sampler
    shots, nuisances, _, _ = sampler.happened(until_s)
    first, scale = sampler.first_s, device.clock_scale
    return Truth(
        shots=tuple(replace(shot.shifted(first, scale), number=n) for n, shot in enumerate(shots, 1)),
        nuisances=tuple(nuisance.shifted(first, scale) for nuisance in nuisances),
        samples=device.sent_samples,
        lost_samples=device.lost_samples + device.spoilt_samples,
        rate_hz=device.scenario.rate_hz,
        duration_s=(until_s - first) * scale,
        segments=device.power_ups,
    )
