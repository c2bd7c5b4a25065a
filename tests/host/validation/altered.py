"""Recordings altered in one known way, and two analyses compared figure by figure."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from quiethand.analysis import Report, ShotFollower, analyse_path
from quiethand.axes import Axes
from quiethand.bow.model import Setup
from quiethand.bow.setup_file import setup_from_document
from quiethand.emulator import Scenario, setup_document
from quiethand.link.files import open_motion
from quiethand.motion.block import MotionBlock
from quiethand.shots.contract import shot_object
from quiethand.shots.model import Rejected, Shot
from quiethand_protocol.framing import decode_run, encode_frame

DESCRIPTION, SAMPLES, REPLY, EVENT, HEADER, SESSION, CLOCK = 0x01, 0x02, 0x04, 0x06, 0x80, 0x81, 0x82
WORD = 1 << 32
Counts = NDArray[np.int16]
Figures = dict[str, float]


def bodies(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Type and payload of every frame."""
    for run in data.split(b"\0"):
        if run:
            content = decode_run(run)
            yield content[0], content[1:-4]


def frame(kind: int, payload: bytes) -> bytes:
    return encode_frame(bytes([kind]) + payload)


def counted_on(data: bytes, index: int, ticks: int) -> bytes:
    """The same recording by a device whose counters stood elsewhere at power-up."""
    out = bytearray()
    for kind, payload in bodies(data):
        if kind == SAMPLES:
            i, t = struct.unpack_from("<II", payload)
            payload = struct.pack("<II", (i + index) % WORD, (t + ticks) % WORD) + payload[8:]
        elif kind == REPLY:
            payload = payload[:3] + struct.pack("<I", (struct.unpack_from("<I", payload, 3)[0] + ticks) % WORD)
        elif kind == CLOCK:
            told = json.loads(payload)
            payload = json.dumps({**told, "ticks": (told["ticks"] + ticks) % WORD}).encode()
        out += frame(kind, payload)
    return bytes(out)


def recounted(data: bytes, change: Callable[[Counts], Counts], session: dict[str, Any] | None = None) -> bytes:
    """The counts of every block changed, (n, 6) to (n, 6); and another set-up stated."""
    out = bytearray()
    for kind, payload in bodies(data):
        if kind == SAMPLES:
            counts = np.frombuffer(payload, "<i2", offset=12).reshape(-1, 6)
            payload = payload[:12] + change(counts).astype("<i2").tobytes()
        elif kind == SESSION and session is not None:
            payload = json.dumps(session).encode()
        out += frame(kind, payload)
    return bytes(out)


def split(data: bytes, at_sample: int) -> tuple[bytes, bytes]:
    """Two recordings, each whole in itself, cut before the block that holds a sample number."""
    first, second, stated = bytearray(), bytearray(), bytearray()
    passed = False
    for kind, payload in bodies(data):
        if kind == SAMPLES and not passed:
            index, count = struct.unpack_from("<I", payload)[0], payload[8]
            passed = index + count > at_sample
        whole = frame(kind, payload)
        if not passed and kind in (HEADER, SESSION, DESCRIPTION):
            stated += whole
        (second if passed else first).extend(whole)
    return bytes(first), bytes(stated + second)


def analysed(folder: Path, data: bytes, setup: Setup | None = None) -> Report:
    path = folder / "altered.qhr"
    path.write_bytes(data)
    return analyse_path(str(path), setup)


def blocks_of(folder: Path, data: bytes) -> list[MotionBlock]:
    path = folder / "blocks.qhr"
    path.write_bytes(data)
    return list(open_motion(path))


def followed(blocks: list[MotionBlock]) -> tuple[list[Shot], list[Rejected]]:
    follower = ShotFollower()
    results = [r for block in blocks for r in follower.follow(block)] + follower.finish()
    return [r for r in results if isinstance(r, Shot)], [r for r in results if isinstance(r, Rejected)]


def setup_of(scenario: Scenario, **sensor: object) -> Setup:
    """The careful user's set-up, with keys of the sensor's table changed or (None) left out."""
    return setup_from_document(document_of(scenario, **sensor), "the test")


def document_of(scenario: Scenario, **sensor: object) -> dict[str, Any]:
    document: dict[str, Any] = dict(setup_document(scenario))
    table = {**document["sensor"], **sensor}
    return {**document, "sensor": {key: value for key, value in table.items() if value is not None}}


def figures(shot: Shot, since_s: float = 0.0) -> Figures:
    """Every number of the contract by its path, instants on a clock that began `since_s` later."""
    found: Figures = {}

    def walk(path: str, value: object) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(f"{path}.{key}" if path else key, inner)
        elif isinstance(value, list):
            for inner in value:
                if isinstance(inner, dict):
                    name = inner.get("source") or inner.get("ms") or inner.get("measure")
                    walk(f"{path}.{name}", {k: v for k, v in inner.items() if k not in ("source", "ms", "measure")})
        elif value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
            found[path] = float("nan") if value is None else float(value)

    walk("", shot_object(shot))
    del found["number"]
    for instant in ("release_s", "departure_s", "rest_clear_s"):
        found[instant] -= since_s
    return found


def changed(before: Figures, after: Figures, tolerance: float) -> dict[str, tuple[float, float]]:
    """Figures that differ by more than a tolerance and a millionth of themselves, or are there in one alone."""
    names = before.keys() | after.keys()
    pairs = {name: (before.get(name, float("nan")), after.get(name, float("nan"))) for name in sorted(names)}
    return {
        name: (a, b)
        for name, (a, b) in pairs.items()
        if not (np.isnan(a) and np.isnan(b)) and not abs(a - b) <= tolerance + 1e-6 * abs(a)
    }


def sigmas_moved(before: Shot, after: Shot) -> Figures:
    """How far each figure of the window that states a sigma moved, in that sigma."""
    at, then, window, later = before.at_departure, after.at_departure, before.window, after.window
    parts, other = at.parts, then.parts
    found: Figures = {}

    def one(name: str, a: float | None, b: float | None, sigma: float | None) -> None:
        assert a is not None
        assert b is not None
        assert sigma is not None
        if a != b or sigma > 0:
            found[name] = abs(b - a) / sigma if sigma > 0 else float("inf")

    def each(name: str, a: Axes, b: Axes, sigma: Axes) -> None:
        for axis in ("cant", "pitch", "yaw"):
            one(f"{name} {axis}", getattr(a, axis), getattr(b, axis), getattr(sigma, axis))

    one("release", before.release_s, after.release_s, before.release_sigma_s)
    one("departure", before.departure_s, after.departure_s, before.departure_sigma_s)
    one("time on string", before.time_on_string_s, after.time_on_string_s, before.time_on_string_sigma_s)
    each("rotation", at.rotation_deg, then.rotation_deg, at.rotation_sigma_deg)
    each("rate", at.rate_deg_s, then.rate_deg_s, at.rate_sigma_deg_s)
    each("carried in", parts.carried_in_deg, other.carried_in_deg, parts.carried_in_sigma_deg)
    each("struck", parts.struck_deg, other.struck_deg, parts.struck_sigma_deg)
    each("pressed", parts.pressed_deg, other.pressed_deg, parts.pressed_sigma_deg)
    each("impulse", window.angular_impulse_nms, later.angular_impulse_nms, window.angular_impulse_sigma_nms)
    each("mean torque", window.mean_torque_nm, later.mean_torque_nm, window.mean_torque_sigma_nm)
    return found


def mirrored(block: MotionBlock, setup: Setup) -> MotionBlock:
    """As a mirror along the arrow's plane shows it: y turns over, and turns about x and z with it."""
    return replace(
        block,
        specific_force_m_s2=block.specific_force_m_s2 * [1.0, -1.0, 1.0],
        rate_rad_s=block.rate_rad_s * [-1.0, 1.0, -1.0],
        setup=setup,
    )
