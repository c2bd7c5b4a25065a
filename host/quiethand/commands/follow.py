"""Measures a recording while it grows: the part of `live` and `record` that runs as a process of its own."""

from __future__ import annotations

import signal
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from quiethand.words import axis_words, shift_words

if TYPE_CHECKING:
    from quiethand.analysis import StreamAnalysis
    from quiethand.bow.model import Setup
    from quiethand.commands.shelf import Shelf
    from quiethand.shots.model import Rejected, Shot


@click.command()
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--setup", "setup_file", type=click.Path(path_type=Path))
@click.option("--store", "keep", is_flag=True, help="Put the shots into the store.")
def command(recording: Path, setup_file: Path | None, keep: bool) -> None:
    """Print a line for each shot of a growing recording, until interrupted; then read it to its end."""
    from quiethand.analysis import StreamAnalysis
    from quiethand.link.tail import tail

    stop = threading.Event()
    for name in ("SIGINT", "SIGTERM"):
        signal.signal(getattr(signal, name), lambda _number, _frame: stop.set())
    setup = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        setup = read_setup(setup_file)
    analysis = StreamAnalysis(setup)
    while not recording.exists():
        if stop.is_set():
            return
        time.sleep(0.02)
    shelf: Shelf | None = None
    for data in tail(recording, stop.is_set):
        if not data:
            continue
        if keep and shelf is None:
            shelf = _shelf(recording)
        before = analysis.setup
        results = analysis.feed(data)
        # Where the set-up changes, what comes out at once was measured with the one before.
        _give(results, shelf, analysis, before if before is not None else analysis.setup)
    _give(analysis.finish(), shelf, analysis, analysis.setup)
    if shelf:
        shelf.close(analysis.facts, analysis.notes)


def _shelf(recording: Path) -> Shelf:
    from quiethand.commands.shelf import Shelf
    from quiethand.store import open_store

    return Shelf(open_store(), recording)


def _give(results: list[Shot | Rejected], shelf: Shelf | None, analysis: StreamAnalysis, setup: Setup | None) -> None:
    from quiethand.shots.model import Shot

    if shelf:
        shelf.put(results, setup, analysis.facts)
    for result in results:
        if isinstance(result, Shot):
            click.echo(f"shot {shot_words(result)}")
        else:
            click.echo(f"no shot: {result.text}")
    if results:
        sys.stdout.flush()


def shot_words(shot: Shot) -> str:
    """One line for a terminal: `3: 14.82 ms on the string, yaw 0.120 deg left, 4.1 mm left`."""
    at = shot.at_departure
    parts = []
    if shot.time_on_string_s is not None:
        parts.append(f"{shot.time_on_string_s * 1e3:.2f} ms on the string")
    parts.append(f"yaw {axis_words('yaw', at.rotation_deg.yaw)}, pitch {axis_words('pitch', at.rotation_deg.pitch)}")
    if at.pointing.right_mm is not None:
        parts.append(f"at the target {shift_words('right', at.pointing.right_mm)}")
    return f"{shot.number}: {', '.join(parts)}"
