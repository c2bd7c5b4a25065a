"""Runs recorder, analysis and page as processes of their own, so that none can take another down with it.

The recorder is never started again (it mends its own link); analysis and page are, should they fail: the analysis reads
the recording from its beginning, and the store passes over what it already has. What the page may ask for is in
`wishes`.
"""

from __future__ import annotations

import signal
import subprocess
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from quiethand.commands.children import Child, stop_all
from quiethand.errors import QuiethandError
from quiethand.live_status import read_live_status

if TYPE_CHECKING:
    from quiethand.commands.wishes import Wishes

__all__ = ["Supervisor"]

_LOOK_EVERY_S: Final = 0.1
_STATUS_EVERY_S: Final = 1.0
_STARTS: Final = 5  # of a process that fails; then it is left alone and said so
_USAGE: Final = 2  # exit status of a process that has told a person what is wrong


class Supervisor:
    """Processes over one home.

    Attributes:
        folder: the home.
        recorder_said: the last line of its errors.
        shots: told by the analysis so far.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._environment = {"QUIETHAND_HOME": str(folder), "OPENBLAS_NUM_THREADS": "1"}
        self._status_file = folder / "live.json"
        self._children: dict[str, Child] = {}
        self._starts: dict[str, int] = {}
        self._errands: set[str] = set()
        self._stop = threading.Event()
        self._told_link = ""
        self._heard = 0  # shots of the recording that runs
        self._wishes: Wishes | None = None
        self._hearing: threading.Thread | None = None
        self.recorder_said = ""
        self.shots = 0

    def obey(self, wishes: Wishes) -> None:
        """Do what the page asks for, from `run` on."""
        self._wishes = wishes

    def record(
        self,
        url: str,
        recording: Path,
        setup_file: Path | None,
        options: Sequence[str] = (),
        *,
        shots: bool = True,
    ) -> None:
        """Start the recorder, and the analysis that puts shots into the store where `shots` are to be."""
        setup = [] if setup_file is None else ["--setup", str(setup_file)]
        status = ["--status", str(self._status_file), "--quiet"]
        self._starts.clear()
        self._heard = 0
        self.recorder_said = ""
        self._start("recorder", ["record", "--port", url, "--out", str(recording), *setup, *status, *options])
        if shots:
            self._start("analysis", ["follow", str(recording), "--store", *setup])
        click.echo(f"recording {url} to {recording}")

    def end_recording(self) -> None:
        """The recorder first, so that the analysis finds the recording complete."""
        stop_all([self._children.pop(name) for name in ("recorder", "analysis") if name in self._children])

    @property
    def records(self) -> bool:
        return "recorder" in self._children

    def show(self, page_port: int, host: str = "127.0.0.1") -> None:
        """Start the page."""
        self._start("page", ["dashboard", "--port", str(page_port), "--host", host])

    def emulate(self, options: Sequence[str]) -> str:
        """Start a sensor in software; returns its URL."""
        child = self._start("sensor in software", ["emulate", *options])
        assert child.process.stdout is not None
        url: str = child.process.stdout.readline().strip()
        if not url:
            stop_all([child])
            raise QuiethandError("the sensor in software did not start")
        return url

    def work(self, name: str, args: Sequence[str]) -> None:
        """Start something that ends by itself, and that the rest can do without."""
        self._errands.add(name)
        self._start(name, args)

    def run(self, *, shots: int | None = None, patience_s: float | None = None) -> bool:
        """Until Ctrl-C, until so many shots were told, or until patience ends; then stop all, in order.

        Returns:
            False where patience ended first.

        Raises:
            click.exceptions.Exit: a process could not do its work and has said why.
        """
        before = {}
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
            if hasattr(signal, name):
                number = getattr(signal, name)
                before[number] = signal.signal(number, lambda _number, _frame: self._stop.set())
        begun_s = status_s = time.monotonic()
        try:
            while not self._stop.wait(_LOOK_EVERY_S):
                self._look_after()
                if self._wishes is not None:
                    self._wishes.look()
                if shots is not None and self.shots >= shots:
                    return True
                if patience_s is not None and time.monotonic() - begun_s > patience_s:
                    return False
                if time.monotonic() - status_s >= _STATUS_EVERY_S:
                    status_s = time.monotonic()
                    self._tell_link()
            return True
        finally:
            self.stop()
            for number, handler in before.items():
                signal.signal(number, handler)

    def stop(self) -> None:
        """The recorder first, so that the analysis finds the recording complete; the sensor after both."""
        order = ("recorder", "analysis", "page")
        first = [self._children[name] for name in order if name in self._children]
        stop_all(first + [child for name, child in self._children.items() if name not in order])
        self._children.clear()

    def _start(self, name: str, args: Sequence[str]) -> Child:
        quiet = name in ("analysis", "sensor in software")
        child = Child(
            name,
            args,
            output=subprocess.PIPE if quiet else None,
            errors=subprocess.PIPE if name == "recorder" else None,
            environment=self._environment,
        )
        self._children[name] = child
        self._starts[name] = self._starts.get(name, 0) + 1
        if name == "analysis":
            threading.Thread(target=self._listen, args=(child,), daemon=True).start()
        if name == "recorder":
            self._hearing = threading.Thread(target=self._hear_recorder, args=(child,), daemon=True)
            self._hearing.start()
        return child

    def _hear_recorder(self, child: Child) -> None:
        assert child.process.stderr is not None
        for line in child.process.stderr:
            self.recorder_said = line.strip()
            click.echo(line, err=True, nl=False)

    def _listen(self, child: Child) -> None:
        assert child.process.stdout is not None
        heard = 0
        for line in child.process.stdout:
            if not line.startswith("shot "):
                continue
            heard += 1
            if heard > self._heard and child is self._children.get("analysis"):  # started again, it tells them again
                self._heard = heard
                self.shots += 1
                click.echo(line.rstrip())

    def _look_after(self) -> None:
        for name, child in list(self._children.items()):
            status = child.ended
            if status is None or self._children.get(name) is not child:  # it may have been ended with another
                continue
            if name == "recorder" and self._hearing is not None:
                self._hearing.join(1.0)  # its last words
            if name in self._errands or (status == 0 and name == "recorder"):
                del self._children[name]
                if name == "recorder":
                    click.echo("the recording has ended; Ctrl-C ends the page")
                    self.end_recording()
                elif status != 0:
                    click.echo(f"the {name} failed (status {status}); the rest goes on", err=True)
                continue
            if name == "recorder" and self._wishes is not None and self._wishes.began_it:
                self.end_recording()
                self._wishes.failed()  # the page is told, and may ask for another port
                continue
            if status == _USAGE or name not in ("analysis", "page"):
                raise click.exceptions.Exit(status if status > 0 else 1)
            del self._children[name]
            if self._starts[name] < _STARTS:
                click.echo(f"the {name} failed (status {status}); started again, the recording goes on", err=True)
                time.sleep(0.2 * self._starts[name])
                self._start(name, child.args)
            else:
                click.echo(f"the {name} keeps failing; the recording goes on without it", err=True)

    def _tell_link(self) -> None:
        status = read_live_status(self._status_file)
        if status is None or "recorder" not in self._children:
            return
        if status.state == "recording":
            told = f"samples come at {status.nominal_rate_hz:,.0f} Hz" if status.nominal_rate_hz else "samples come"
        elif status.state == "link_lost":
            told = f"the link is lost ({status.text}); waiting for it to return"
        else:
            told = status.text
        if told and told != self._told_link:
            self._told_link = told
            click.echo(told)
