"""How the link is doing now: a small JSON file in the home that the live process replaces about once a second.

A file and not a table: it speaks of this machine's port, and a club's shared database has no business with that.
"""

from __future__ import annotations

import dataclasses
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from quiethand.home import home, place_in_home
from quiethand.json_file import read_json, write_json

__all__ = ["STALE_AFTER_S", "LiveStatus", "read_live_status", "write_live_status"]

STALE_AFTER_S: Final = 5.0  # five missed writes: the process that wrote it is gone


@dataclass(frozen=True)
class LiveStatus:
    """`state`: waiting (no answer yet), recording, link_lost, stopped."""

    state: str
    port: str
    recording: str | None = None
    rate_hz: float | None = None  # samples per second over the last seconds
    nominal_rate_hz: float | None = None
    samples: int = 0
    lost_samples: int = 0
    bad_frames: int = 0
    last_sample_unix_s: float | None = None
    written_unix_s: float = 0.0
    text: str = ""  # one line for people
    bytes_per_s: float | None = None
    line_bytes_per_s: float | None = None  # what a serial line carries; None where that is not known
    sensor: str = ""  # as the device describes itself

    def last_sample_age_s(self, now_unix_s: float) -> float | None:
        return None if self.last_sample_unix_s is None else max(0.0, now_unix_s - self.last_sample_unix_s)


def write_live_status(status: LiveStatus, path: Path | None = None) -> None:
    """Replace the file at once, so that a reader never sees half of it."""
    target = path or place_in_home("live.json")
    write_json(target, dataclasses.asdict(dataclasses.replace(status, written_unix_s=time.time())))


def read_live_status(path: Path | None = None, *, now_unix_s: float | None = None) -> LiveStatus | None:
    """The status, `stopped` where its writer has gone without saying so; None where nothing was ever recorded live."""
    values = read_json(path or home() / "live.json")
    try:
        status = LiveStatus(**values) if values is not None else None
    except TypeError:  # of another version
        return None
    if status is None:
        return None
    now = time.time() if now_unix_s is None else now_unix_s
    if status.state != "stopped" and now - status.written_unix_s > STALE_AFTER_S:
        return dataclasses.replace(status, state="stopped", text="the recorder has stopped")
    return status
