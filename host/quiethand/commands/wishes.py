"""What the page may ask of the process that supervises the recorder, done or refused: see `quiethand.control`."""

from __future__ import annotations

import contextlib
import subprocess
import threading
import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from quiethand.commands.children import Child
from quiethand.control import Answer, Purpose, SupervisorState, Wish, read_wish, recording_of, write_supervisor
from quiethand.errors import QuiethandError
from quiethand.home import with_folder

if TYPE_CHECKING:
    from quiethand.commands.supervisor import Supervisor

__all__ = ["Wishes", "new_recording"]

_TELL_EVERY_S: Final = 1.0
_LIST_EVERY_S: Final = 3.0  # of the ports: where nothing is recorded, and a person waits for a plug to be seen
_OLD_S: Final = 10.0  # a wish that waited longer is nobody's any more
_BEGUN_S: Final = 1.0  # a recorder that can't do its work has said so by then


def new_recording(folder: Path, purpose: Purpose = "shots") -> Path:
    """A name by the time of day, in the folder of recordings; a calibration's says which."""
    more = "" if purpose == "shots" else f"_{purpose}"
    return with_folder(folder / "recordings" / f"{datetime.now():%Y-%m-%d_%H-%M-%S}{more}.qhr")


class Wishes:
    """Looks for wishes, does them by a supervisor, and tells how things stand.

    Args:
        port: the one that the person at the terminal gave; None: the page chooses among those that the system lists.
        setup_file: into which calibrations go; None: there is none.
        options: of the recorder.
        recording: what is recorded already, None where nothing is.
    """

    def __init__(
        self,
        supervisor: Supervisor,
        port: str | None,
        setup_file: Path | None,
        options: Sequence[str] = (),
        recording: Path | None = None,
    ) -> None:
        self._supervisor, self._folder = supervisor, supervisor.folder
        self._port, self._setup_file, self._options = port, setup_file, list(options)
        self._purpose: Purpose = "shots"
        self._recording = recording
        self._recorded_port = port
        self._seen = self._folder_wish_id()  # of an earlier run
        self._answer: Answer | None = None
        self._begun: tuple[str, float] | None = None  # a wish that started the recorder and has no answer yet, and when
        self._started_by = ""  # the wish that started the recorder; "" where it was the terminal
        self._told_s = self._listed_s = 0.0
        self._listed: tuple[str, ...] = ()

    def look(self) -> None:
        """Called a few times a second."""
        wish = read_wish(self._folder)
        if wish is not None and wish.id != self._seen:
            self._seen = wish.id
            if time.time() - wish.written_unix_s < _OLD_S:
                self._do(wish)
        if self._begun is not None and time.monotonic() - self._begun[1] > _BEGUN_S and self._supervisor.records:
            self._say(self._begun[0], True, "recording")
            self._begun = None
        if time.monotonic() - self._told_s >= _TELL_EVERY_S:
            self._tell()

    @property
    def began_it(self) -> bool:
        """The recorder that runs, or ended last, was asked for by the page."""
        return bool(self._started_by)

    def failed(self) -> None:
        """The recorder that the page had asked for ended with an error."""
        self._begun = None
        self._say(self._started_by, False, self._supervisor.recorder_said or "the recorder could not do its work")

    def _folder_wish_id(self) -> str:
        wish = read_wish(self._folder)
        return wish.id if wish else ""

    def _do(self, wish: Wish) -> None:
        if wish.what == "calibrate":
            self._calibrate(wish)
            return
        if wish.what == "stop":
            self._supervisor.end_recording()
            click.echo("the recording was ended from the page")
            self._say(wish.id, True, "stopped")
            return
        port = wish.port or self._port
        if not port or port not in self._ports(fresh=True):
            self._say(wish.id, False, "no such port; plug the sensor in and choose it")
            return
        self._supervisor.end_recording()
        self._purpose, self._recorded_port = wish.purpose, port
        self._recording = new_recording(self._folder, wish.purpose)
        self._begun, self._started_by = (wish.id, time.monotonic()), wish.id
        self._supervisor.record(
            port, self._recording, self._setup_file, self._options, shots=wish.purpose == "shots"
        )  # fmt: skip
        self._tell()

    def _calibrate(self, wish: Wish) -> None:
        recording = recording_of(self._folder, wish.recording)
        if recording is None or wish.purpose == "shots":
            self._say(wish.id, False, "no such recording")
            return
        if self._setup_file is None and wish.write:
            self._say(wish.id, False, "no set-up file to write into: start with `quiethand live --setup FILE`")
            return
        if self._recording is not None and recording.name == self._recording.name:
            self._supervisor.end_recording()
        setup = [] if self._setup_file is None else ["--setup", str(self._setup_file)]
        options = [f"--{name}={value}" for name, value in wish.options.items()]  # none can be taken for another
        args = ["calibrate", wish.purpose, str(recording), *options, *setup, *([] if wish.write else ["--dry-run"])]
        child = Child("calibration", args, output=subprocess.PIPE, errors=subprocess.STDOUT)
        threading.Thread(target=self._hear_calibration, args=(child, wish, recording), daemon=True).start()

    def _hear_calibration(self, child: Child, wish: Wish, recording: Path) -> None:
        assert child.process.stdout is not None
        said = child.process.stdout.read()
        status = child.process.wait()
        for path in (self._setup_file, self._folder / "recordings"):  # the page shows no path of the machine
            if path is not None:
                said = said.replace(f"{path.parent}/" if path is self._setup_file else f"{path}/", "")
        if status == 0 and wish.write:
            said += self._kept(wish, recording)
        self._say(wish.id, status == 0, *said.strip().splitlines())

    def _kept(self, wish: Wish, recording: Path) -> str:
        """Put it into the store as well; what to say of that."""
        from quiethand.commands.calibration_kept import keep_calibration

        if self._setup_file is None or wish.purpose == "shots":
            return ""
        url = f"sqlite:///{(self._folder / 'shots.sqlite3').as_posix()}"
        try:
            keep_calibration(url, wish.purpose, self._setup_file, recording)
        except (QuiethandError, OSError) as wrong:
            return f"it could not be put into the store ({wrong}); the set-up file has it\n"
        return "kept in the store too, from today on\n"

    def _say(self, wish_id: str, ok: bool, *lines: str) -> None:
        self._answer = Answer(wish_id, ok, lines)
        self._tell()

    def _tell(self) -> None:
        self._told_s = time.monotonic()
        records = self._supervisor.records
        state = SupervisorState(
            purpose=self._purpose if records else None,
            recording=self._recording.name if records and self._recording is not None else "",
            port=(self._recorded_port if records else self._port) or "",
            ports=self._ports(),
            setup=self._setup_file.name if self._setup_file is not None else "",
            answer=self._answer,
        )
        with contextlib.suppress(OSError):  # the page misses a word; recording goes on
            write_supervisor(self._folder, state)

    def _ports(self, *, fresh: bool = False) -> tuple[str, ...]:
        own = () if self._port is None else (self._port,)
        due = fresh or (not self._supervisor.records and time.monotonic() - self._listed_s > _LIST_EVERY_S)
        if due:
            from quiethand.link.ports import list_ports

            self._listed_s = time.monotonic()
            self._listed = tuple(port.name for port in list_ports())
        return (*own, *(name for name in self._listed if name not in own))
