"""One line on a terminal that says how the recording goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Console
from rich.live import Live
from rich.text import Text

if TYPE_CHECKING:
    from quiethand.link.record_loop import Progress

__all__ = ["LiveLine", "line"]

_STATES = {"waiting": "waiting for samples", "recording": "recording", "link_lost": "link lost, waiting for it"}


def line(progress: Progress, shots: int | None) -> str:
    """`recording 0:12:31, 4,000 Hz, none lost, 6 shots`."""
    minutes, seconds = divmod(int(progress.elapsed_s), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{_STATES[progress.link]} {hours}:{minutes:02}:{seconds:02}"]
    if progress.rate_hz is not None:
        parts.append(f"{progress.rate_hz:,.0f} Hz")
    parts.append(f"{progress.lost_samples:,} lost" if progress.lost_samples else "none lost")
    if progress.bad_frames:
        parts.append(f"{progress.bad_frames:,} bad frames")
    if shots is not None:
        parts.append(f"{shots} shot{'' if shots == 1 else 's'}")
    parts.append(f"{progress.bytes_written / 1e6:,.1f} MB")
    return ", ".join(parts)


class LiveLine:
    """Redraws in the caller's thread only: the recorder shares its time with nobody."""

    def __init__(self) -> None:
        self._live = Live(console=Console(stderr=True), auto_refresh=False, transient=True)
        self._live.start()

    def show(self, progress: Progress, shots: int | None) -> None:
        self._live.update(Text(line(progress, shots), no_wrap=True, overflow="ellipsis"), refresh=True)

    def stop(self) -> None:
        self._live.stop()
