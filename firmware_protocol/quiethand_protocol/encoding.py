"""From a message to its frame. Misuse is an exception here; bad bytes are only ever the parser's."""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from typing import Final

import numpy as np

from quiethand_protocol.framing import encode_frame
from quiethand_protocol.host_json import write_object
from quiethand_protocol.messages import (
    Clock,
    Command,
    Description,
    Event,
    Gap,
    Header,
    Health,
    Log,
    Message,
    MessageType,
    Note,
    Reply,
    Samples,
    Session,
    Text,
)

__all__ = ["SAMPLES_PER_BLOCK_LIMIT", "STRING_LIMIT", "TICK_HZ_LIMIT", "encode"]

TICK_HZ_LIMIT: Final = 50_000_000
STRING_LIMIT: Final = 64  # bytes of UTF-8
SAMPLES_PER_BLOCK_LIMIT: Final = 32


def _pack(layout: str, what: str, *values: int | float | bytes) -> bytes:
    try:
        return struct.pack("<" + layout, *values)
    except (struct.error, OverflowError) as error:
        raise ValueError(f"{what}: a field does not fit the wire: {error}") from None


def _text(text: str, what: str) -> bytes:
    try:
        return text.encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError(f"{what}: {text!r} holds a lone surrogate, which UTF-8 cannot carry") from None


def _string(text: str, what: str) -> bytes:
    data = _text(text, what)
    if len(data) > STRING_LIMIT:
        raise ValueError(f"{what} is at most {STRING_LIMIT} bytes of UTF-8, not {len(data)}")
    return bytes([len(data)]) + data


def _description(message: Description) -> bytes:
    if message.version != 1:
        raise ValueError(f"DESCRIPTION: this is version 1 of the wire format, not {message.version}")
    if len(message.uid) != 8:
        raise ValueError(f"DESCRIPTION: uid has 8 bytes, not {len(message.uid)}")
    if not 0 < message.tick_hz <= TICK_HZ_LIMIT:
        raise ValueError(f"DESCRIPTION: tick_hz is 1 to {TICK_HZ_LIMIT}, not {message.tick_hz}")
    if message.rate_mhz == 0:
        raise ValueError("DESCRIPTION: rate_mhz is over 0")
    scales = _pack("ff", "DESCRIPTION scales", message.accel_scale, message.gyro_scale)
    for name, scale in zip(("accel_scale", "gyro_scale"), struct.unpack("<ff", scales), strict=True):
        if not (math.isfinite(scale) and scale > 0):
            raise ValueError(f"DESCRIPTION: {name} is finite and over 0 as a float32, not {scale}")
    head = _pack("B8sII", "DESCRIPTION", message.version, message.uid, message.tick_hz, message.rate_mhz)
    rest = _pack(
        "HHHHHHIB",
        "DESCRIPTION",
        message.accel_clip,
        message.gyro_clip,
        message.accel_delay_us,
        message.gyro_delay_us,
        message.accel_bandwidth_hz,
        message.gyro_bandwidth_hz,
        message.boot,
        message.revision,
    )
    strings = _string(message.firmware, "DESCRIPTION: firmware") + _string(message.sensor, "DESCRIPTION: sensor")
    return head + scales + rest + strings


def _samples(message: Samples) -> bytes:
    counts = np.asarray(message.counts)
    if counts.ndim != 2 or counts.shape[1] != 6 or not 1 <= len(counts) <= SAMPLES_PER_BLOCK_LIMIT:
        raise ValueError(f"SAMPLES: counts have the shape (1 to 32, 6), not {counts.shape}")
    if counts.dtype != np.int16 and (
        not np.issubdtype(counts.dtype, np.integer) or counts.min() < -32768 or counts.max() > 32767
    ):
        raise ValueError("SAMPLES: counts are integers of 16 bits signed")
    head = _pack("IIBBh", "SAMPLES", message.index, message.ticks, len(counts), message.status, message.temperature)
    return head + counts.astype("<i2").tobytes()


def _stated(**members: object) -> dict[str, object]:
    return {name: value for name, value in members.items() if value is not None}


def _document(message: Header | Session | Clock | Note | Gap) -> Mapping[str, object]:
    match message:
        case Header():
            return _stated(
                format=message.format, version=message.version, created=message.created, software=message.software
            )
        case Session():
            return message.document
        case Clock():
            return {"unix_ns": message.unix_ns, "ticks": message.ticks}
        case Note():
            return _stated(
                text=message.text,
                ticks=message.ticks,
                shot=message.shot,
                called_right_mm=message.called_right_mm,
                called_up_mm=message.called_up_mm,
                right_mm=message.right_mm,
                up_mm=message.up_mm,
            )
        case Gap():
            return _stated(reason=message.reason, unix_ns=message.unix_ns)


def _content(message: Message) -> tuple[MessageType, bytes]:
    match message:
        case Samples():
            return MessageType.SAMPLES, _samples(message)
        case Description():
            return MessageType.DESCRIPTION, _description(message)
        case Log():
            return MessageType.LOG, _pack("B", "LOG", message.level) + _text(message.text, "LOG")
        case Reply():
            fields = (message.request, message.command, message.result, message.ticks)
            return MessageType.REPLY, _pack("BBBI", "REPLY", *fields)
        case Health():
            return MessageType.HEALTH, _pack("IIH", "HEALTH", message.samples, message.lost, message.supply_mv)
        case Event():
            return MessageType.EVENT, _pack("IBB", "EVENT", message.ticks, message.channel, message.value)
        case Command():
            return MessageType.COMMAND, _pack("BB", "COMMAND", message.request, message.command) + message.arguments
        case Text():
            return MessageType.TEXT, bytes(message.data)
        case Header() | Session() | Clock() | Note() | Gap():
            kind = MessageType[type(message).__name__.upper()]
            return kind, write_object(_document(message))


def encode(message: Message) -> bytes:
    """The whole frame of a message, its 0x00 included.

    Raises:
        ValueError: a field does not fit the wire, or what it says would be malformed.
    """
    from quiethand_protocol.decoding import MalformedError, decode_payload

    kind, payload = _content(message)
    frame = encode_frame(bytes([kind]) + payload)
    if kind >= MessageType.HEADER:
        try:
            decode_payload(kind, payload)
        except MalformedError as error:
            raise ValueError(f"{kind.name}: {error}") from None
    return frame
