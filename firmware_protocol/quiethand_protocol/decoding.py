"""From a payload whose CRC holds to its message, or the reason why it does not fit its type."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Mapping
from typing import Final

from quiethand_protocol.encoding import STRING_LIMIT, TICK_HZ_LIMIT
from quiethand_protocol.host_json import JsonRuleError, read_object
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
    Session,
    Text,
)

__all__ = ["MalformedError", "OtherVersionError", "decode_payload"]


class MalformedError(ValueError):
    """A payload that does not fit its type; the message says why, with the offending value."""


class OtherVersionError(ValueError):
    """A DESCRIPTION of another version of the wire format, which is ignored and not malformed."""

    def __init__(self, version: int) -> None:
        super().__init__(f"DESCRIPTION of version {version}")
        self.version = version


_DESCRIPTION: Final = struct.Struct("<B8sIIffHHHHHHIB")
_REPLY: Final = struct.Struct("<BBBI")
_HEALTH: Final = struct.Struct("<IIH")
_EVENT: Final = struct.Struct("<IBB")


def _need(payload: bytes, size: int) -> None:
    if len(payload) < size:
        raise MalformedError(f"its payload has {len(payload)} bytes and needs {size}")


def _string(payload: bytes, at: int, name: str) -> tuple[str, int]:
    _need(payload, at + 1)
    size = payload[at]
    if size > STRING_LIMIT:
        raise MalformedError(f"{name} is {size} bytes long, over {STRING_LIMIT}")
    _need(payload, at + 1 + size)
    return payload[at + 1 : at + 1 + size].decode("utf-8", "replace"), at + 1 + size


def _description(payload: bytes) -> Description:
    _need(payload, 1)
    if payload[0] != 1:
        raise OtherVersionError(payload[0])
    _need(payload, _DESCRIPTION.size)
    fields = _DESCRIPTION.unpack_from(payload)
    firmware, at = _string(payload, _DESCRIPTION.size, "firmware")
    sensor, _ = _string(payload, at, "sensor")
    message = Description(*(*fields[1:], firmware, sensor))
    if not 0 < message.tick_hz <= TICK_HZ_LIMIT:
        raise MalformedError(f"tick_hz is {message.tick_hz}, not 1 to {TICK_HZ_LIMIT}")
    if message.rate_mhz == 0:
        raise MalformedError("rate_mhz is 0")
    for name, scale in (("accel_scale", message.accel_scale), ("gyro_scale", message.gyro_scale)):
        if not (math.isfinite(scale) and scale > 0):
            raise MalformedError(f"{name} is {scale}, not finite and over 0")
    return message


def _log(payload: bytes) -> Log:
    _need(payload, 1)
    return Log(payload[0], payload[1:].decode("utf-8", "replace"))


def _reply(payload: bytes) -> Reply:
    _need(payload, _REPLY.size)
    return Reply(*_REPLY.unpack_from(payload))


def _health(payload: bytes) -> Health:
    _need(payload, _HEALTH.size)
    return Health(*_HEALTH.unpack_from(payload))


def _event(payload: bytes) -> Event:
    _need(payload, _EVENT.size)
    return Event(*_EVENT.unpack_from(payload))


def _command(payload: bytes) -> Command:
    _need(payload, 2)
    return Command(payload[0], payload[1], payload[2:])


def _object(payload: bytes) -> dict[str, object]:
    try:
        return read_object(payload)
    except JsonRuleError as error:
        raise MalformedError(str(error)) from None


def _str(document: Mapping[str, object], name: str) -> str | None:
    if name not in document:
        return None
    value = document[name]
    if not isinstance(value, str):
        raise MalformedError(f"{name} is {str(value)[:40]}, not a string")
    return value


def _int(document: Mapping[str, object], name: str) -> int | None:
    if name not in document:
        return None
    value = document[name]
    if not isinstance(value, int) or isinstance(value, bool):
        raise MalformedError(f"{name} is {str(value)[:40]}, not an integer")
    return value


def _float(document: Mapping[str, object], name: str) -> float | None:
    if name not in document:
        return None
    value = document[name]
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise MalformedError(f"{name} is {str(value)[:40]}, not a number")
    return float(value)


def _header(payload: bytes) -> Header:
    document = _object(payload)
    name, version = _str(document, "format"), _int(document, "version")
    if name is None or version is None:
        raise MalformedError("format or version is missing")
    return Header(_str(document, "created"), _str(document, "software"), name, version)


def _session(payload: bytes) -> Session:
    return Session(_object(payload))


def _clock(payload: bytes) -> Clock:
    document = _object(payload)
    unix_ns, ticks = _int(document, "unix_ns"), _int(document, "ticks")
    if unix_ns is None or ticks is None:
        raise MalformedError("unix_ns or ticks is missing")
    return Clock(unix_ns, ticks)


def _note(payload: bytes) -> Note:
    document = _object(payload)
    shot = _int(document, "shot")
    if shot is not None and shot < 1:
        raise MalformedError(f"shot is {shot}; shots count from 1")
    return Note(
        _str(document, "text"),
        _int(document, "ticks"),
        shot,
        _float(document, "called_right_mm"),
        _float(document, "called_up_mm"),
        _float(document, "right_mm"),
        _float(document, "up_mm"),
    )


def _gap(payload: bytes) -> Gap:
    document = _object(payload)
    return Gap(_str(document, "reason"), _int(document, "unix_ns"))


_DECODERS: Final[Mapping[int, Callable[[bytes], Message]]] = {
    MessageType.DESCRIPTION: _description,
    MessageType.LOG: _log,
    MessageType.REPLY: _reply,
    MessageType.HEALTH: _health,
    MessageType.EVENT: _event,
    MessageType.COMMAND: _command,
    MessageType.HEADER: _header,
    MessageType.SESSION: _session,
    MessageType.CLOCK: _clock,
    MessageType.NOTE: _note,
    MessageType.GAP: _gap,
    MessageType.TEXT: Text,
}


def decode_payload(kind: int, payload: bytes) -> Message | None:
    """The message of a payload (without type and CRC), or None for a type that is not known here.

    SAMPLES are not decoded here but in bulk, by `quiethand_protocol.bulk`.

    Raises:
        MalformedError: the payload does not fit its type.
        OtherVersionError: a DESCRIPTION of another version.
    """
    decoder = _DECODERS.get(kind)
    return None if decoder is None else decoder(payload)
