"""`quiethand record`: a sensor's bytes to a file, until told to stop."""

from __future__ import annotations

import signal
import sys
import threading
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from quiethand import __version__
from quiethand.commands.durations import DURATION
from quiethand.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from quiethand.commands.shot_counter import ShotCounter
    from quiethand.link.record_loop import Progress

_STATUS_EVERY_S: Final = 1.0


@click.command()
@click.option(
    "--port", required=True, metavar="URL", help="Device name, socket://host:port, rfc2217://..., file or pipe."
)
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The recording to write (.qhr).")
@click.option("--setup", "setup_file", type=click.Path(path_type=Path), help="Set-up file (TOML) to put into it.")
@click.option("--for", "for_s", type=DURATION, help="Stop this long after the first sample: 30min, 7s.")
@click.option("--until-shots", type=click.IntRange(min=1), metavar="N", help="Stop after N shots.")
@click.option("--rate", type=click.FloatRange(min=1, max=100_000), metavar="HZ", help="Samples a second to ask for.")
@click.option("--baud", type=click.IntRange(min=1), help="Of a serial line; 921600 unless stated.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
@click.option("--force", is_flag=True, help="Overwrite the recording if there is one.")
@click.option("--status", type=click.Path(path_type=Path), hidden=True)
def command(
    port: str,
    out: Path,
    setup_file: Path | None,
    for_s: float | None,
    until_shots: int | None,
    rate: float | None,
    baud: int | None,
    quiet: bool,
    force: bool,
    status: Path | None,
) -> None:
    """Record a sensor to a file that loses nothing: every byte is kept as it came.

    \b
    Examples:
      quiethand record --port /dev/ttyACM0 --out evening.qhr --setup bow.toml
      quiethand record --port socket://127.0.0.1:7000 --out evening.qhr --for 30min
      quiethand record --port COM3 --out end.qhr --until-shots 6

    A lost link is waited for and marked in the file. Ctrl-C ends the recording.
    """
    from quiethand.link.record_loop import record_loop
    from quiethand.link.recorder import Recorder
    from quiethand.link.recording_file import RecordingFile
    from quiethand.link.serial_port import DEFAULT_BAUD, PortLock, open_link

    session = _session(setup_file)
    stop = _stop_on_signals()
    if out.exists() and not force:  # before a board is reset by opening its port
        raise InputError("the file exists", where=str(out), do="choose another name, or give --force")
    lock = PortLock(port)
    link = open_link(port, baud or DEFAULT_BAUD)
    try:
        file = RecordingFile(out, force=force)
    except InputError:
        link.close()
        raise
    recorder = Recorder(
        created=datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z"),
        software=f"quiethand {__version__}",
        recording_id=uuid.uuid4().hex,
        session=session,
        rate_mhz=None if rate is None else round(rate * 1000),
    )
    counter = _counter(out, setup_file, wanted=until_shots is not None or (not quiet and sys.stderr.isatty()))
    try:
        progress = record_loop(
            recorder,
            link,
            file,
            url=port,
            baud=baud or DEFAULT_BAUD,
            enough=_enough(stop, for_s, until_shots, counter),
            show=_shows(port, out, quiet, status, counter),
        )
    finally:
        lock.close()
        if counter:
            counter.stop()
    if status:
        _write_status(status, port, out, progress, stopped=True)
    if not quiet:
        click.echo(_closing_line(out, progress), err=True)


def _session(setup_file: Path | None) -> Mapping[str, object] | None:
    if setup_file is None:
        return None
    from quiethand.bow.setup_file import read_setup

    return read_setup(setup_file).document


def _stop_on_signals() -> threading.Event:
    stop = threading.Event()
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):  # each system has some of these
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda _number, _frame: stop.set())
    return stop


def _counter(out: Path, setup_file: Path | None, *, wanted: bool) -> ShotCounter | None:
    if not wanted:
        return None
    from quiethand.commands.shot_counter import ShotCounter

    return ShotCounter(out, setup_file)


def _enough(
    stop: threading.Event, for_s: float | None, until_shots: int | None, counter: ShotCounter | None
) -> Callable[[Progress], bool]:
    def enough(progress: Progress) -> bool:
        if stop.is_set():
            return True
        if for_s is not None:
            # A device that never answers must not keep a script waiting for ever.
            since = progress.elapsed_s if progress.no_answer else progress.since_first_sample_s
            if since is not None and since >= for_s:
                return True
        return until_shots is not None and counter is not None and counter.shots >= until_shots

    return enough


def _shows(
    port: str, out: Path, quiet: bool, status: Path | None, counter: ShotCounter | None
) -> Callable[[Progress], None]:
    """Where progress goes: a live line on a terminal, warnings once each, the status file."""
    live_line = None
    if not quiet and sys.stderr.isatty():
        from quiethand.commands.live_line import LiveLine

        live_line = LiveLine()
    said: set[str] = set()
    status_due_s = 0.0

    def show(progress: Progress) -> None:
        nonlocal status_due_s
        for text in _warnings(port, progress):
            if text not in said and not quiet:
                click.echo(f"quiethand: {text}", err=True)
            said.add(text)
        if progress.link == "recording":
            said.discard(f"{port}: the link is lost; waiting for it to return")
        if live_line:
            live_line.show(progress, counter.shots if counter else None)
        if status and time.monotonic() >= status_due_s:
            status_due_s = time.monotonic() + _STATUS_EVERY_S
            _write_status(status, port, out, progress)

    return show


def _warnings(port: str, progress: Progress) -> list[str]:
    texts = [f"{port}: {text}" for text in progress.complaints]
    if progress.no_answer:
        texts.append(f"{port}: no answer in 5 s; still listening (is it a sensor, is the baud rate right?)")
    if progress.link == "link_lost":
        texts.append(f"{port}: the link is lost; waiting for it to return")
    if progress.host_frames_from_device:
        texts.append(f"{port}: the device sends frames that only a host may write; they are dropped")
    return texts


def _write_status(path: Path, port: str, out: Path, progress: Progress, *, stopped: bool = False) -> None:
    from quiethand.live_status import LiveStatus, write_live_status

    age = progress.last_sample_age_s
    value = LiveStatus(
        state="stopped" if stopped else progress.link,
        port=port,
        recording=str(out),
        rate_hz=progress.rate_hz,
        nominal_rate_hz=progress.nominal_rate_hz,
        samples=progress.samples,
        lost_samples=progress.lost_samples,
        bad_frames=progress.bad_frames,
        last_sample_unix_s=None if age is None else time.time() - age,
        text=progress.lost_because or ("no answer from the device" if progress.no_answer else ""),
    )
    try:
        write_live_status(value, path)
    except OSError:
        return  # the page misses a word about the link; the recording goes on


def _closing_line(out: Path, progress: Progress) -> str:
    losses = f"{progress.lost_samples:,} lost" if progress.lost_samples else "none lost"
    bad = f", {progress.bad_frames:,} bad frames" if progress.bad_frames else ""
    return f"{out}: {progress.elapsed_s:.0f} s, {progress.samples:,} samples, {losses}{bad}"
