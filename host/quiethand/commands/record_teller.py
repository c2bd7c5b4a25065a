"""What a recorder tells while it runs: a live line on a terminal, warnings once each, the status file for the page."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from quiethand.live_status import LiveStatus, write_live_status

if TYPE_CHECKING:
    from quiethand.commands.shot_counter import ShotCounter
    from quiethand.link.record_loop import Progress

__all__ = ["Teller"]

_STATUS_EVERY_S: Final = 1.0


class Teller:
    """Tells of one recording.

    Args:
        port, out: names, for people.
        quiet: tell nothing but to the status file.
        status: the status file, if one is wanted.
        baud: of a serial line; None where no line limits the bytes.
    """

    def __init__(self, port: str, out: Path, *, quiet: bool, status: Path | None, baud: int | None = None) -> None:
        self._port, self._out, self._quiet, self._status = port, out, quiet, status
        self._said: set[str] = set()
        self._lost_said = False
        self._status_due_s = 0.0
        self._line_bytes_per_s = None if baud is None else baud / 10  # start and stop bit
        self._told_bytes = (0.0, 0)
        self._line = None
        if not quiet and sys.stderr.isatty():
            from quiethand.commands.live_line import LiveLine

            self._line = LiveLine()

    def show(self, progress: Progress, counter: ShotCounter | None) -> None:
        """Called a few times a second."""
        texts = self._warnings(progress)
        if counter and counter.failed:
            texts.append("shots are no longer counted (the analysis failed); the recording goes on until Ctrl-C")
        for text in texts:
            if text not in self._said:
                self._said.add(text)
                self._say(text)
        if (progress.link == "link_lost") != self._lost_said:  # told each time, a warning only once
            self._lost_said = not self._lost_said
            self._say("the link is lost; waiting for it to return" if self._lost_said else "the link is back")
        if self._line:
            self._line.show(progress, counter.shots if counter else None)
        if self._status and time.monotonic() >= self._status_due_s:
            self._status_due_s = time.monotonic() + _STATUS_EVERY_S
            self._write_status(progress, progress.link)

    def ended(self, progress: Progress) -> None:
        """The recording is complete."""
        if self._status:
            self._write_status(progress, "stopped")
        if not self._quiet:
            losses = f"{progress.lost_samples:,} lost" if progress.lost_samples else "none lost"
            bad = f", {progress.bad_frames:,} bad frames" if progress.bad_frames else ""
            seconds = f"{progress.elapsed_s:.0f} s"
            click.echo(f"{self._out}: {seconds}, {progress.samples:,} samples, {losses}{bad}", err=True)

    def close(self) -> None:
        """Give the terminal back, whatever happened."""
        if self._line:
            self._line.stop()

    def _say(self, text: str) -> None:
        if not self._quiet:
            click.echo(f"quiethand: {self._port}: {text}", err=True)

    def _warnings(self, progress: Progress) -> list[str]:
        texts = list(progress.complaints)
        if progress.no_answer:
            texts.append("no answer in 5 s; still listening (is it a sensor, is the baud rate right?)")
        if progress.host_frames_from_device:
            texts.append("the device sends frames that only a host may write; they are dropped")
        return texts

    def _word(self, progress: Progress) -> str:
        """The one thing that a page should say of the link."""
        if progress.no_answer:
            return "no answer from the device"
        return progress.lost_because or (progress.complaints[-1] if progress.complaints else "")

    def _write_status(self, progress: Progress, state: str) -> None:
        age = progress.last_sample_age_s
        (before_s, before), self._told_bytes = self._told_bytes, (progress.elapsed_s, progress.bytes_written)
        seconds = progress.elapsed_s - before_s
        value = LiveStatus(
            state=state,
            port=self._port,
            recording=str(self._out),
            rate_hz=progress.rate_hz,
            nominal_rate_hz=progress.nominal_rate_hz,
            samples=progress.samples,
            lost_samples=progress.lost_samples,
            bad_frames=progress.bad_frames,
            last_sample_unix_s=None if age is None else time.time() - age,
            text=self._word(progress),
            bytes_per_s=(progress.bytes_written - before) / seconds if seconds > 0.1 else None,
            line_bytes_per_s=self._line_bytes_per_s,
            sensor=progress.sensor,
        )
        try:
            write_live_status(value, self._status)
        except OSError:
            return  # the page misses a word about the link; the recording goes on
