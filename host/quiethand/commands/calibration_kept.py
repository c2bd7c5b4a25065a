"""What a calibration has found, kept in the store too: the set-up file has the last one, the store has them all."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, Final

from quiethand.control import Calibration

__all__ = ["keep_calibration"]

# Which keys of the set-up each of them writes.
_KEYS: Final[dict[Calibration, tuple[tuple[str, str], ...]]] = {
    "still": (("sensor", "gyro_bias"),),
    "six-face": (("sensor", "accel_offset"), ("sensor", "accel_matrix")),
    "mount": (("sensor", "mount"),),
    "inertia": (("bow", "inertia"),),
}
_HEAD_BYTES: Final = 1 << 16  # a device describes itself as it is opened


def keep_calibration(store_url: str, kind: Calibration, setup_file: Path, recording: Path) -> None:
    """Put what the set-up file says now of this kind into the store, from today on, for the sensor of the recording.

    Raises:
        InputError: the store can't be opened or written.
        OSError: a file can't be read.
    """
    from quiethand.store import open_store

    document: dict[str, Any] = tomllib.loads(setup_file.read_text(encoding="utf-8-sig"))
    found: dict[str, Any] = {"recording": recording.name}
    for name, key in _KEYS[kind]:
        if key in document.get(name, {}):
            found.setdefault(name, {})[key] = document[name][key]
    store = open_store(store_url)
    try:
        store.add_calibration(kind, found, sensor_uid=_uid_of(recording))
    finally:
        store.close()


def _uid_of(recording: Path) -> str:
    from quiethand_protocol.items import Located
    from quiethand_protocol.messages import Description
    from quiethand_protocol.parser import Parser

    with recording.open("rb") as file:
        items = Parser("recording").feed(file.read(_HEAD_BYTES))
    said = (item.message for item in items if isinstance(item, Located))
    return next((message.uid.hex() for message in said if isinstance(message, Description)), "")
