"""Every message of the wire format as a frozen dataclass of the values on the wire.

Fields hold what the wire carries, in its units (README.md in the folder above says each): unknown values stay as the
wire states them (`UNKNOWN_...`), for the layer above to make of them what it needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, IntFlag
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "UNKNOWN_DELAY_US",
    "UNKNOWN_TEMPERATURE",
    "Clock",
    "Command",
    "CommandCode",
    "Description",
    "Event",
    "Gap",
    "Header",
    "Health",
    "Log",
    "Message",
    "MessageType",
    "Note",
    "Reply",
    "Result",
    "Samples",
    "Session",
    "Status",
    "Text",
    "status_byte",
]

UNKNOWN_DELAY_US: Final = 0xFFFF
UNKNOWN_TEMPERATURE: Final = 0x7FFF


class MessageType(IntEnum):
    """The first byte of a body."""

    DESCRIPTION = 0x01
    SAMPLES = 0x02
    LOG = 0x03
    REPLY = 0x04
    HEALTH = 0x05
    EVENT = 0x06
    COMMAND = 0x41
    HEADER = 0x80
    SESSION = 0x81
    CLOCK = 0x82
    NOTE = 0x83
    GAP = 0x84
    TEXT = 0x85


class CommandCode(IntEnum):
    DESCRIBE = 1
    START = 2
    STOP = 3
    SET_RATE = 4
    SET_RANGES = 5
    IDENTIFY = 6
    CLOCK = 7


class Result(IntEnum):
    OK = 0
    UNKNOWN_COMMAND = 1
    BAD_ARGUMENT = 2
    BUSY = 3
    HARDWARE_FAULT = 4


class Status(IntFlag):
    """Bits 0 to 2 of a SAMPLES status byte; bits 3 to 5 are `revision` modulo 8, bits 6 and 7 `boot` modulo 4."""

    LOST_BEFORE = 1
    SUPPLY_LOW = 2
    FIRST_SINCE_POWER_UP = 4


def status_byte(flags: int, revision: int, boot: int) -> int:
    """The status byte of a block: `flags` of `Status`, and the low bits of `revision` and `boot`."""
    return (flags & 7) | (revision & 7) << 3 | (boot & 3) << 6


@dataclass(frozen=True, slots=True)
class Description:
    """0x01: what the sensor is and what one count means."""

    uid: bytes  # 8 bytes
    tick_hz: int  # ticks of the device clock per second, at most 50,000,000
    rate_mhz: int  # nominal samples per second x 1000
    accel_scale: float  # m/s2 per count, a float32
    gyro_scale: float  # rad/s per count, a float32
    accel_clip: int = 0  # counts; 0 unknown
    gyro_clip: int = 0
    accel_delay_us: int = UNKNOWN_DELAY_US
    gyro_delay_us: int = UNKNOWN_DELAY_US
    accel_bandwidth_hz: int = 0  # -3 dB; 0 unknown
    gyro_bandwidth_hz: int = 0
    boot: int = 0
    revision: int = 0
    firmware: str = ""  # at most 64 bytes of UTF-8
    sensor: str = ""
    version: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """0x02, for encoding one block; the parser gives `Blocks`."""

    index: int  # of the first sample, modulo 2^32
    ticks: int  # of the last sample, modulo 2^32
    counts: NDArray[np.int16]  # (n, 6): ax ay az gx gy gz, n from 1 to 32
    status: int = 0
    temperature: int = UNKNOWN_TEMPERATURE  # 0.01 degC


@dataclass(frozen=True, slots=True)
class Log:
    """0x03: a line of text from the device."""

    level: int  # 0 debug, 1 info, 2 warning, 3 error; others are taken as they are
    text: str


@dataclass(frozen=True, slots=True)
class Reply:
    """0x04: the answer to a COMMAND."""

    request: int
    command: int
    result: int  # see Result; others are taken as they are
    ticks: int  # when the COMMAND's last byte arrived


@dataclass(frozen=True, slots=True)
class Health:
    """0x05: totals since power-up, modulo 2^32."""

    samples: int  # taken, those lost included
    lost: int
    supply_mv: int = 0  # 0 unknown


@dataclass(frozen=True, slots=True)
class Event:
    """0x06: an edge on an input."""

    ticks: int
    channel: int
    value: int  # level after the edge


@dataclass(frozen=True, slots=True)
class Command:
    """0x41, host to device. `arguments` are bytes as sent: judging them is the device's, which answers BAD_ARGUMENT."""

    request: int
    command: int  # see CommandCode
    arguments: bytes = b""

    @classmethod
    def set_rate(cls, request: int, rate_mhz: int) -> Command:
        """Samples per second x 1000; the device takes the nearest it has."""
        return cls(request, CommandCode.SET_RATE, rate_mhz.to_bytes(4, "little"))

    @classmethod
    def set_ranges(cls, request: int, accel_g: int, gyro_deg_s: int) -> Command:
        """Full scales; the device takes the nearest not smaller, and leaves what is 0."""
        return cls(request, CommandCode.SET_RANGES, accel_g.to_bytes(2, "little") + gyro_deg_s.to_bytes(2, "little"))

    def rate_mhz(self) -> int | None:
        """The argument of SET_RATE; None if it is not all there."""
        return int.from_bytes(self.arguments[:4], "little") if len(self.arguments) >= 4 else None

    def ranges(self) -> tuple[int, int] | None:
        """The arguments (g, deg/s) of SET_RANGES; None if they are not all there."""
        if len(self.arguments) < 4:
            return None
        return int.from_bytes(self.arguments[:2], "little"), int.from_bytes(self.arguments[2:4], "little")


@dataclass(frozen=True, slots=True)
class Header:
    """0x80: what opens a recording."""

    created: str | None = None  # RFC 3339
    software: str | None = None
    format: str = "qhr"
    version: int = 1


@dataclass(frozen=True, slots=True)
class Session:
    """0x81: the set-up file's tables as one object."""

    document: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Clock:
    """0x82: when the last byte of the frame with these ticks reached the host; late perhaps, never early."""

    unix_ns: int
    ticks: int  # modulo 2^32; in text mode t_us


@dataclass(frozen=True, slots=True)
class Note:
    """0x83: a remark, a called shot, an arrow's impact, or several at once."""

    text: str | None = None
    ticks: int | None = None  # of the shot
    shot: int | None = None  # the archer's count, from 1
    called_right_mm: float | None = None
    called_up_mm: float | None = None
    right_mm: float | None = None
    up_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """0x84: the link was lost."""

    reason: str | None = None
    unix_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Text:
    """0x85: lines of a text-mode stream as received, line ends included."""

    data: bytes = field(default=b"")


Message: TypeAlias = (
    Description | Samples | Log | Reply | Health | Event | Command | Header | Session | Clock | Note | Gap | Text
)
