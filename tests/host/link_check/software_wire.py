"""A wire to a device in software whose time is made: a check of half a minute takes a second or two."""

from __future__ import annotations

from quiethand.emulator import Device, TextDevice
from quiethand.link.check import check_device
from quiethand.link.check_findings import Finding

STEP_S = 0.004


class SoftwareWire:
    """Both the link and the clock."""

    def __init__(self, device: Device | TextDevice) -> None:
        self.device = device
        self.time_s = 0.0
        self._towards = bytearray()

    def now(self) -> float:
        return self.time_s

    def read(self) -> bytes:
        self.time_s += STEP_S
        heard = bytes(self._towards)
        self._towards.clear()
        return self.device.step(self.time_s, heard)

    def write(self, data: bytes) -> None:
        self._towards += data


def findings_of(device: Device | TextDevice) -> dict[str, Finding]:
    wire = SoftwareWire(device)
    return {finding.name: finding for finding in check_device(wire, wire.now)[1]}
