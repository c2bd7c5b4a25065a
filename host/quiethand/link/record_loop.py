"""The recorder's thin shell: a link, a file and the clocks around the pure `Recorder`. Single-threaded but for the sync
to disk: bytes that were read are with the operating system before the next are asked for.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from quiethand.errors import InputError
from quiethand.link.recorder import Out, Recorder
from quiethand.link.recording_file import RecordingFile
from quiethand.link.search import PortSearch
from quiethand.link.serial_port import Link, LinkLost, PortLock, open_link

__all__ = ["Progress", "record_loop"]

_SHOW_EVERY_S: Final = 0.25
_OPEN_AGAIN_EVERY_S: Final = 0.25
_FAREWELL_S: Final = 0.5  # for the device to stop and its last block to arrive


@dataclass(frozen=True)
class Progress:
    """How it goes, for people and for the limits of a recording."""

    elapsed_s: float
    since_first_sample_s: float | None
    samples: int
    lost_samples: int
    bad_frames: int
    host_frames_from_device: int
    bytes_written: int
    rate_hz: float | None
    nominal_rate_hz: float | None
    mode: str | None
    link: str  # waiting, recording, link_lost
    lost_because: str
    no_answer: bool
    last_sample_age_s: float | None
    complaints: tuple[str, ...]
    sensor: str  # as the device describes itself


class _Session:
    """The state of one run of the loop."""

    def __init__(
        self, recorder: Recorder, file: RecordingFile, link: Link, url: str, baud: int, search: PortSearch | None
    ) -> None:
        self.recorder, self.file, self.url, self.baud, self.search = recorder, file, url, baud, search
        self.link: Link | None = link
        self.lock: PortLock | None = None  # of a port that it was found at again
        self.lost_because = ""
        self.ended = False
        self.started_s = time.monotonic()
        self.first_sample_s: float | None = None

    def begin(self) -> None:
        self.file.write(self.recorder.open())
        self.take(self.recorder.link_up(time.monotonic()))

    def step(self) -> None:
        """Read once (or try the link again) and put away what came."""
        if self.link is None:
            time.sleep(_OPEN_AGAIN_EVERY_S)
            self.open_again()
            return
        try:
            data = self.link.read()
        except LinkLost as lost:
            self.lost(lost)
            return
        now_s, unix_ns = time.monotonic(), time.time_ns()
        self.take(self.recorder.received(data, now_s, unix_ns) if data else self.recorder.tick(now_s))
        if self.first_sample_s is None and self.recorder.tally.samples:
            self.first_sample_s = now_s

    def take(self, out: Out) -> None:
        if out.write:
            self.file.write(out.write)
        if out.send and self.link is not None:
            try:
                self.link.write(out.send)
            except LinkLost as lost:
                self.lost(lost)

    def lost(self, lost: LinkLost) -> None:
        if self.link is not None:
            self.link.close()
        self.link = None
        self.ended = lost.ended
        self.lost_because = str(lost)
        if not lost.ended:
            self.file.write(self.recorder.link_lost(str(lost), time.time_ns()).write)

    def open_again(self) -> None:
        try:
            self.link = open_link(self.url, self.baud)
        except InputError:
            if not self._found_elsewhere():
                return
        if self.search is not None:
            self.search.give_up()
        self.lost_because = ""
        self.take(self.recorder.link_up(time.monotonic()))

    def _found_elsewhere(self) -> bool:
        description = self.recorder.conversation.description
        if self.search is None or description is None:
            return False
        found = self.search.look(description.uid, time.monotonic())
        if found is None:
            return False
        if self.lock is not None:
            self.lock.close()
        self.url, self.link, self.lock = found.name, found.link, found.lock
        return True

    def let_go(self) -> None:
        """Of all ports."""
        for held in (self.link, self.lock):
            if held is not None:
                held.close()
        if self.search is not None:
            self.search.give_up()

    def finish(self) -> None:
        """Let the device stop and its last frame arrive, then close the file."""
        if self.link is not None and self.recorder.tally.samples:
            self.take(self.recorder.farewell())
            until_s = time.monotonic() + _FAREWELL_S
            while self.link is not None and time.monotonic() < until_s:
                try:
                    data = self.link.read()
                except LinkLost:
                    break
                if not data:
                    break
                self.file.write(self.recorder.received(data, time.monotonic(), time.time_ns()).write)
        self.file.write(self.recorder.close())

    def progress(self) -> Progress:
        now_s, recorder = time.monotonic(), self.recorder
        tally, description = recorder.tally, recorder.conversation.description
        first = self.first_sample_s
        link = "link_lost" if self.link is None else "recording" if tally.last_s is not None else "waiting"
        return Progress(
            elapsed_s=now_s - self.started_s,
            since_first_sample_s=None if first is None else now_s - first,
            samples=tally.samples,
            lost_samples=tally.lost,
            bad_frames=recorder.bad_frames,
            host_frames_from_device=recorder.host_frames_from_device,
            bytes_written=self.file.bytes_written,
            rate_hz=tally.rate_hz(now_s),
            nominal_rate_hz=description.rate_mhz / 1000 if description else None,
            mode=recorder.mode,
            link=link,
            lost_because=self.lost_because,
            no_answer=recorder.conversation.no_answer and recorder.mode != "text" and not tally.samples,
            last_sample_age_s=None if tally.last_s is None else now_s - tally.last_s,
            complaints=(*recorder.conversation.complaints, *(self.search.said if self.search else ())),
            sensor=description.sensor if description else "",
        )


def record_loop(
    recorder: Recorder,
    link: Link,
    file: RecordingFile,
    *,
    url: str,
    baud: int,
    enough: Callable[[Progress], bool],
    show: Callable[[Progress], None],
    search: PortSearch | None = None,
) -> Progress:
    """Record until `enough` or until a plain file has come to its end.

    Args:
        recorder, link, file: just made; link and file are closed at the end, however it comes.
        url, baud: to open the link again when it was lost.
        enough: asked after every read.
        show: called four times a second.
        search: where else to look for the sensor once its link is lost.

    Raises:
        InputError: the file can't be written any more; what was written stays.
    """
    session = _Session(recorder, file, link, url, baud, search)
    shown_s = 0.0
    try:
        session.begin()
        while not session.ended:
            session.step()
            progress = session.progress()
            if time.monotonic() - shown_s >= _SHOW_EVERY_S:
                shown_s = time.monotonic()
                file.check()
                show(progress)
            if enough(progress):
                break
        session.finish()
    except InputError:
        _close_quietly(file)
        raise
    finally:
        session.let_go()
    progress = session.progress()
    file.close()
    return progress


def _close_quietly(file: RecordingFile) -> None:
    """After a fault that is being told already."""
    try:
        file.close()
    except InputError:
        return
