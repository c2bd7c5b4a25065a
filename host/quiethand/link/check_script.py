"""The questions of a check, in their order: some 28 s with a device that answers, 5 s with one that does not."""

from __future__ import annotations

import math
from typing import Final

from quiethand_protocol.encoding import encode
from quiethand_protocol.items import Item, Located
from quiethand_protocol.messages import Command, CommandCode, Description

from quiethand.link.check_talk import Evidence, Talk

__all__ = ["STREAM_S", "UNKNOWN_COMMAND", "converse", "full_scales"]

STREAM_S: Final = 12.5  # longer than from one DESCRIPTION to the next
UNKNOWN_COMMAND: Final = 99
_G: Final = 9.80665
_DESCRIBE_EVERY_S: Final = 0.3
_NO_ANSWER_AFTER_S: Final = 5.0
# Nothing is taken for so long that the 64 kB of a serial port in the system are full, and a device must drop blocks; a
# socket holds megabytes.
_HELD_BYTES: Final = 80_000
_HELD_S: Final = (1.0, 6.0)
_SETTLE_S: Final = 0.5  # for what was on its way when a device was told to stop
# Some sensors' scale is a round number of units per count, and 32768 counts are up to 15 % more than the range's name.
# Ranges lie a factor of 2 apart, so asking for that much less takes the same one.
_NAME_SLACK: Final = 1.15


def converse(talk: Talk) -> Evidence:
    """Talk to a device through all that the wire format asks of it, and leave it as it was, stopped."""
    evidence = talk.evidence
    talk.phase("before")
    talk.listen(1.0)
    talk.phase("describe")
    described = _describe(talk)
    if not described and not _speaks_text(evidence):
        talk.phase("end")
        return evidence
    if _speaks_text(evidence):
        talk.phase("text")
        talk.listen(STREAM_S)
        talk.phase("end")
        return evidence
    _stopped(talk)
    _streaming(talk)
    _settings(talk)
    talk.phase("leaving")
    talk.ask("stop", CommandCode.STOP)
    talk.phase("end")
    return evidence


def full_scales(description: Description) -> tuple[float, float]:
    """What 32768 counts are, in g and deg/s."""
    return description.accel_scale * 32768 / _G, math.degrees(description.gyro_scale * 32768)


def _speaks_text(evidence: Evidence) -> bool:
    return evidence.mode == "text"


def _describe(talk: Talk) -> bool:
    """As any host opens a port: many boards reset, and take seconds to start."""

    def came(items: list[Item]) -> bool:
        described = any(isinstance(item, Located) and isinstance(item.message, Description) for item in items)
        return described or _speaks_text(talk.evidence)

    for request in range(round(_NO_ANSWER_AFTER_S / _DESCRIBE_EVERY_S)):
        talk.send(encode(Command(request, CommandCode.DESCRIBE)))
        if talk.listen(_DESCRIBE_EVERY_S, came):
            return True
    return False


def _stopped(talk: Talk) -> None:
    talk.phase("first_stop")
    talk.ask("stop", CommandCode.STOP)
    talk.listen(_SETTLE_S)
    talk.phase("stopped")
    for _ in range(4):
        talk.ask("clock", CommandCode.CLOCK)
        talk.listen(0.1)
    talk.ask("describe", CommandCode.DESCRIBE)
    talk.listen(0.3)
    talk.ask("unknown", UNKNOWN_COMMAND)
    talk.ask("identify", CommandCode.IDENTIFY)
    talk.ask("short", CommandCode.SET_RATE)
    talk.phase("garbage")
    _garbage(talk, "garbage")


def _garbage(talk: Talk, why: str) -> None:
    """What a line can bring: noise, a frame that is damaged, a run without end."""
    whole = encode(Command(0, CommandCode.CLOCK))
    damaged = bytes([whole[0], whole[1] ^ 0x10, *whole[2:]])
    noise = bytes(1 + (n * 97 + 13) % 255 for n in range(200))
    for rubbish in (noise + b"\0", damaged, b"\x41" * 1000 + b"\0", b"\0\0\0"):
        talk.send(rubbish)
        talk.listen(0.05)
        talk.ask(why, CommandCode.CLOCK)


def _streaming(talk: Talk) -> None:
    talk.phase("start")
    talk.ask("start", CommandCode.START)
    talk.phase("stream")
    before = talk.evidence.bytes_heard
    talk.listen(STREAM_S)
    bytes_per_s = (talk.evidence.bytes_heard - before) / STREAM_S
    talk.phase("busy")
    for _ in range(3):
        talk.ask("clock_streaming", CommandCode.CLOCK)
        talk.listen(0.1)
    talk.ask("start_twice", CommandCode.START)
    _garbage(talk, "garbage_streaming")
    talk.listen(0.3)
    talk.phase("held")
    talk.pause(min(max(_HELD_BYTES / max(bytes_per_s, 1.0), _HELD_S[0]), _HELD_S[1]))
    talk.phase("taken_again")
    talk.listen(1.3)  # for the next HEALTH
    talk.phase("stop")
    talk.ask("stop", CommandCode.STOP)
    talk.listen(_SETTLE_S)
    talk.phase("after_stop")
    talk.listen(1.5)
    talk.phase("again")
    talk.ask("start", CommandCode.START)
    talk.listen(1.2)


def _settings(talk: Talk) -> None:
    """Another rate and back, another range and back, each while it streams."""
    before = _last_description(talk.evidence)
    for name, factor in (("rate", 0.5), ("rate_up", 2.0)):
        talk.phase(name)
        wanted = min(max(1, round(before.rate_mhz * factor)), 2**32 - 1)
        talk.ask("set_rate", CommandCode.SET_RATE, wanted.to_bytes(4, "little"))
        talk.listen(2.0)
        if _described_anew(talk, before):
            break
    talk.phase("rate_back")
    talk.ask("set_rate", CommandCode.SET_RATE, before.rate_mhz.to_bytes(4, "little"))
    talk.listen(1.2)
    before = _last_description(talk.evidence)
    for name, factor in (("ranges", 0.5), ("ranges_up", 2.0)):
        talk.phase(name)
        asked = talk.ask("set_ranges", CommandCode.SET_RANGES, _ranges(before, factor))
        if asked.reply is not None and asked.reply.result:
            continue  # it has none so large
        talk.listen(1.5)
        if _described_anew(talk, before):
            break
    talk.phase("ranges_back")
    talk.ask("set_ranges", CommandCode.SET_RANGES, _ranges(before, 1.0))
    talk.listen(0.7)


def _ranges(description: Description, factor: float) -> bytes:
    accel, gyro = (min(0xFFFF, max(1, int(full * factor / _NAME_SLACK))) for full in full_scales(description))
    return accel.to_bytes(2, "little") + gyro.to_bytes(2, "little")


def _described_anew(talk: Talk, before: Description) -> bool:
    """Whether the setting changed; asked again at the end, for a device that does not say so of itself."""
    talk.phase(f"{talk.phase_name}_asked")
    talk.ask("describe_setting", CommandCode.DESCRIBE)
    talk.listen(0.3)
    after = _last_description(talk.evidence)
    return (after.rate_mhz, after.accel_scale, after.gyro_scale) != (
        before.rate_mhz,
        before.accel_scale,
        before.gyro_scale,
    )


def _last_description(evidence: Evidence) -> Description:
    said = (a.item.message for a in reversed(evidence.arrivals) if isinstance(a.item, Located))
    return next(message for message in said if isinstance(message, Description))
