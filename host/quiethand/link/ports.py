"""Which serial ports there are, and which of them looks like a sensor."""

from __future__ import annotations

import glob
from dataclasses import dataclass
from typing import Final

__all__ = ["Port", "list_ports"]


@dataclass(frozen=True)
class Port:
    """One port with what the system knows of it; "" is not known."""

    name: str
    description: str = ""
    maker: str = ""
    usb_id: str = ""  # vendor:product, hexadecimal
    serial_number: str = ""
    looks_like_sensor: bool = False
    why: str = ""


# Words in what a USB device says of itself that microcontroller boards and their USB-to-serial chips use.
_BOARD_WORDS: Final = (
    "usb", "uart", "acm", "cdc", "ch340", "ch341", "cp210", "ft232", "ftdi", "jtag", "board", "mcu", "imu", "sensor",
)  # fmt: skip


def _judged(description: str, usb: bool, name: str) -> tuple[bool, str]:
    text = f"{description} {name}".lower()
    if not usb:
        return False, "not a USB port"
    word = next((word for word in _BOARD_WORDS if word in text), None)
    return True, f"a USB port ({word})" if word else "a USB port"


def list_ports() -> list[Port]:
    """Every serial port, those that look like a sensor first."""
    from serial.tools import list_ports as known

    found = []
    for info in known.comports():
        usb = info.vid is not None
        description = "" if info.description in (None, "n/a") else info.description
        looks, why = _judged(description, usb, info.device)
        found.append(
            Port(
                name=info.device,
                description=description,
                maker=info.manufacturer or "",
                usb_id=f"{info.vid:04x}:{info.pid:04x}" if usb else "",
                serial_number=info.serial_number or "",
                looks_like_sensor=looks,
                why=why,
            )
        )
    listed = {port.name for port in found}
    # Wireless serial ports have no USB behind them, and pyserial leaves them out.
    found += [
        Port(name, description="Bluetooth serial port") for name in glob.glob("/dev/rfcomm*") if name not in listed
    ]
    return sorted(found, key=lambda port: (not port.looks_like_sensor, port.name))
