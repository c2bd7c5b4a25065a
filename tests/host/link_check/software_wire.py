"""A wire to a device in software whose time is made: a check of half a minute takes a second or two."""

from __future__ import annotations

from typing import Literal

from quiethand.emulator import Device, TextDevice
from quiethand.link.check import check_device
from quiethand.link.check_findings import Finding

STEP_S = 0.004


class SoftwareWire:
    """Both the link and the clock.

    Args:
        line: what becomes of bytes that nobody takes: none are taken from the device ("full"), all are kept ("wide"),
            or all but the last 1,000 are lost ("overruns").
    """

    def __init__(self, device: Device | TextDevice, line: Literal["full", "wide", "overruns"] = "full") -> None:
        self.line = line
        self.device = device
        self.time_s = 0.0
        self._towards = bytearray()
        self._kept = b""

    def now(self) -> float:
        return self.time_s

    def read(self) -> bytes:
        self.time_s += STEP_S
        heard = bytes(self._towards)
        self._towards.clear()
        kept, self._kept = self._kept, b""
        return kept + self.device.step(self.time_s, heard)

    def pause(self, seconds: float) -> None:
        """Nobody takes anything."""
        end_s = self.time_s + seconds
        while self.time_s < end_s:
            self.time_s += STEP_S
            self._kept += self.device.step(self.time_s, congested=self.line == "full")
        if self.line == "overruns":
            self._kept = self._kept[-1000:]

    def write(self, data: bytes) -> None:
        self._towards += data


def findings_of(device: Device | TextDevice, line: Literal["full", "wide", "overruns"] = "full") -> dict[str, Finding]:
    wire = SoftwareWire(device, line)
    return {finding.name: finding for finding in check_device(wire, wire.now, pause=wire.pause)[1]}
