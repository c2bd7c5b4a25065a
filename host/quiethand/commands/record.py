"""`quiethand record`: a sensor's bytes to a file, until told to stop."""

from __future__ import annotations

import signal
import sys
import threading
import uuid
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from quiethand import __version__
from quiethand.commands.durations import DURATION
from quiethand.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from quiethand.commands.shot_counter import ShotCounter
    from quiethand.link.record_loop import Progress


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

    A lost link is waited for and marked in the file, also where the sensor returns as another port. Ctrl-C ends it.

    Exit status: 0 recorded; 1 not one sample came; 2 the port or the file can't be used.
    """
    from quiethand.commands.record_teller import Teller
    from quiethand.link.record_loop import record_loop
    from quiethand.link.recorder import Recorder
    from quiethand.link.recording_file import RecordingFile
    from quiethand.link.search import PortSearch
    from quiethand.link.serial_port import DEFAULT_BAUD, FileLink, PortLock, open_link

    session = _session(setup_file)
    stop = _stop_on_signals()
    if out.exists() and not force:  # before a board is reset by opening its port
        raise InputError("the file exists", where=str(out), do="choose another name, or give --force")
    recorder = Recorder(
        created=datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z"),
        software=f"quiethand {__version__}",
        recording_id=uuid.uuid4().hex,
        session=session,
        rate_mhz=None if rate is None else round(rate * 1000),
    )
    with ExitStack() as held:
        held.callback(PortLock(port).close)
        link = open_link(port, baud or DEFAULT_BAUD)
        held.callback(link.close)
        file = RecordingFile(out, force=force)
        counter = _counter(out, setup_file, wanted=until_shots is not None or (not quiet and sys.stderr.isatty()))
        if counter:
            held.callback(counter.stop)
        serial_line = "://" not in port and not isinstance(link, FileLink)
        teller = Teller(port, out, quiet=quiet, status=status, baud=baud or DEFAULT_BAUD if serial_line else None)
        held.callback(teller.close)
        progress = record_loop(
            recorder,
            link,
            file,
            url=port,
            baud=baud or DEFAULT_BAUD,
            enough=_enough(stop, for_s, until_shots, counter),
            show=lambda progress: teller.show(progress, counter),
            # A serial port may return under another name; an address or a file is what it is.
            search=PortSearch(port, baud or DEFAULT_BAUD) if serial_line else None,
        )
    teller.ended(progress)
    if not progress.samples:
        raise click.exceptions.Exit(1)


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
