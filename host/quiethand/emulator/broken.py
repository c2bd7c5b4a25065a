"""Devices with one fault each, to try checks and readers on: each breaks one thing that the wire format asks for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np
from quiethand_protocol import (
    Command,
    CommandCode,
    Description,
    Health,
    Message,
    MessageType,
    Reply,
    Result,
    Samples,
    Status,
)

from quiethand.emulator.device import Device
from quiethand.emulator.scenario import Faults, Scenario

__all__ = ["BROKEN", "broken_device"]


class _Altered(Device):
    """What leaves the device, altered on its way."""

    alter: Callable[[Device, Message], Message | None]

    def _send(self, message: Message) -> bool:
        altered = type(self).alter(self, message)
        return True if altered is None else super()._send(altered)


def _altering(alter: Callable[[Device, Message], Message | None]) -> type[Device]:
    return type("Altered", (_Altered,), {"alter": alter})


class StreamsAtOnce(Device):
    """Does not wait for start."""

    def power_on(self) -> None:
        self._start(0.0)

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(scenario)
        self.power_on()


class DeafToStop(Device):
    """Says that it stopped."""

    def _obey(self, command: Command, now_s: float) -> Result:
        return Result.OK if command.command == CommandCode.STOP else super()._obey(command, now_s)


class SlowToAnswer(Device):
    """Answers after 0.4 s."""

    def __init__(self, scenario: Scenario) -> None:
        self._owed: list[tuple[float, bytes]] = []
        super().__init__(scenario)

    def step(self, now_s: float, data: bytes = b"", *, congested: bool = False) -> bytes:
        if data:
            self._owed.append((now_s + 0.4, data))
        due = b"".join(data for at, data in self._owed if at <= now_s)
        self._owed = [(at, data) for at, data in self._owed if at > now_s]
        return super().step(now_s, due, congested=congested)


class NeverSaysUnknown(Device):
    """Answers ok to whatever it is asked."""

    def _obey(self, command: Command, now_s: float) -> Result:
        result = super()._obey(command, now_s)
        return Result.OK if result == Result.UNKNOWN_COMMAND else result


class SilentAboutUnknown(Device):
    """Answers only what it knows."""

    def _judge(self, run: bytes, now_s: float) -> None:
        body = run[1:]
        if len(body) >= 3 and body[0] == MessageType.COMMAND and body[2] > max(CommandCode):
            return
        super()._judge(run, now_s)


class ChokesOnGarbage(Device):
    """Drops whatever follows a bad run, its delimiter included, once it has met one."""

    def _hear(self, data: bytes, now_s: float) -> None:
        if len(data) > 100:
            self._deaf_until_s = now_s + 0.5
        if now_s < getattr(self, "_deaf_until_s", 0.0):
            return
        super()._hear(data, now_s)


class SilentAboutChange(Device):
    """Takes another rate and range at once, and says so only when asked."""

    def _change(self, **changed: float) -> None:
        super()._change(**changed)
        self._revision = 0


class LosesInSilence(Device):
    """Loses blocks, and goes on as if they had not been."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(replace(scenario, faults=replace(scenario.faults, lose=0.02)))

    def _send(self, message: Message) -> bool:
        if isinstance(message, Samples):
            index = (message.index - self.lost_samples) % 2**32
            message = replace(message, index=index, status=message.status & 0xFE)
        elif isinstance(message, Health):
            message = replace(message, samples=message.samples - message.lost, lost=0)
        return super()._send(message)


class HidesLoss(Device):
    """Counts what it lost in index, and neither marks it nor tells HEALTH."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(replace(scenario, faults=replace(scenario.faults, lose=0.02)))

    def _send(self, message: Message) -> bool:
        if isinstance(message, Samples):
            message = replace(message, status=message.status & 0xFE)
        elif isinstance(message, Health):
            message = replace(message, lost=0)
        return super()._send(message)


class ForgetsToCountLoss(Device):
    """Marks what it lost, and HEALTH knows nothing of it."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(replace(scenario, faults=replace(scenario.faults, lose=0.02)))

    def _send(self, message: Message) -> bool:
        return super()._send(replace(message, lost=0) if isinstance(message, Health) else message)


class CountsWhileStopped(Device):
    """Its sample counter runs on when nothing is sent."""

    def _start(self, now_s: float) -> None:
        super()._start(now_s)
        self._next_index = round(now_s * self.scenario.rate_hz)


class PrintsInBetween(Device):
    """A debug print left in the firmware."""

    def _deliver(self, block: object, congested: bool) -> None:
        super()._deliver(block, congested)  # type: ignore[arg-type]
        if self._next_index % 7 == 0:
            self._out += b"loop 1234 us\r\n"


class Restarts(Device):
    """Browns out some seconds into each stream."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(replace(scenario, faults=replace(scenario.faults, restart_after_s=4.0)))


class KeepsScaleOld(Device):
    """Announces another range and goes on with the old one."""

    def _send(self, message: Message) -> bool:
        if isinstance(message, Samples):
            spec, now = self.sampler.sensor.spec, self.sampler.sensor.settings
            counts = message.counts.astype(np.float64)
            counts[:, :3] *= now.accel_range_g / spec.accel_range_g
            message = replace(message, counts=np.rint(counts).astype(np.int16))
        return super()._send(message)


class Mute(Device):
    """Says nothing at all."""

    def step(self, now_s: float, data: bytes = b"", *, congested: bool = False) -> bytes:
        super().step(now_s, data, congested=congested)
        return b""


def _rate_stated_high(_device: Device, message: Message) -> Message:
    return replace(message, rate_mhz=message.rate_mhz * 103 // 100) if isinstance(message, Description) else message


def _scale_in_g(_device: Device, message: Message) -> Message:
    return replace(message, accel_scale=message.accel_scale / 9.80665) if isinstance(message, Description) else message


def _no_uid(_device: Device, message: Message) -> Message:
    return replace(message, uid=bytes(8)) if isinstance(message, Description) else message


def _ticks_of_24_bits(_device: Device, message: Message) -> Message:
    return replace(message, ticks=message.ticks % 2**22) if isinstance(message, Samples | Reply) else message


def _no_request(_device: Device, message: Message) -> Message:
    return replace(message, request=0) if isinstance(message, Reply) else message


def _no_health(_device: Device, message: Message) -> Message | None:
    return None if isinstance(message, Health) else message


def _described_once(device: Device, message: Message) -> Message | None:
    return None if isinstance(message, Description) and device.streaming else message


def _status_of_zero(_device: Device, message: Message) -> Message:
    return replace(message, status=message.status & 7) if isinstance(message, Samples) else message


def _every_block_first(_device: Device, message: Message) -> Message:
    if not isinstance(message, Samples):
        return message
    return replace(message, status=message.status | Status.FIRST_SINCE_POWER_UP)


def _bytes_swapped(_device: Device, message: Message) -> Message:
    return replace(message, counts=message.counts.byteswap()) if isinstance(message, Samples) else message


def _index_of_blocks(_device: Device, message: Message) -> Message:
    return replace(message, index=message.index // 19) if isinstance(message, Samples) else message


def _stuck(_device: Device, message: Message) -> Message:
    return replace(message, counts=np.zeros_like(message.counts)) if isinstance(message, Samples) else message


def _fast_clock(scenario: Scenario) -> Device:
    return Device(replace(scenario, faults=Faults(clock_ppm=24_000)))  # 32,768 Hz taken for 32,000


# fault: (how to make the device, the line of a check that names it)
BROKEN: Final[dict[str, tuple[Callable[[Scenario], Device], str]]] = {
    "streams before start": (StreamsAtOnce, "silent_before_start"),
    "deaf to stop": (DeafToStop, "stops"),
    "answers late": (SlowToAnswer, "answers_in_time"),
    "does not echo the request": (_altering(_no_request), "echo"),
    "says ok to unknown commands": (NeverSaysUnknown, "unknown_command"),
    "silent about unknown commands": (SilentAboutUnknown, "unknown_command"),
    "chokes on garbage": (ChokesOnGarbage, "resync_stopped"),
    "changes its rate in silence": (SilentAboutChange, "set_rate"),
    "announces a range it does not set": (KeepsScaleOld, "ranges_set"),
    "states a rate it does not have": (_altering(_rate_stated_high), "rate"),
    "states its scale in g": (_altering(_scale_in_g), "gravity"),
    "has no uid": (_altering(_no_uid), "names"),
    "loses blocks in silence": (LosesInSilence, "index"),
    "does not mark loss": (HidesLoss, "loss_marked"),
    "does not count loss": (ForgetsToCountLoss, "loss_counted"),
    "counts blocks, not samples": (_altering(_index_of_blocks), "index"),
    "counts while stopped": (CountsWhileStopped, "index_stopped"),
    "wraps its clock early": (_altering(_ticks_of_24_bits), "ticks"),
    "runs on a clock that is off": (_fast_clock, "clock"),
    "sends no HEALTH": (_altering(_no_health), "health"),
    "describes itself once": (_altering(_described_once), "description_every_10_s"),
    "leaves revision and boot out": (_altering(_status_of_zero), "status_bits"),
    "calls every block the first": (_altering(_every_block_first), "first_block"),
    "swaps the bytes of its counts": (_altering(_bytes_swapped), "gravity"),
    "sends one sample for ever": (_altering(_stuck), "gravity"),
    "prints between frames": (PrintsInBetween, "frames"),
    "restarts": (Restarts, "stays_up"),
}


def broken_device(fault: str, scenario: Scenario) -> Device:
    """A device with this fault of `BROKEN`."""
    return BROKEN[fault][0](scenario)
