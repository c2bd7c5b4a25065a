"""A recording of any kind as motion, in bounded memory: `.qhr`, raw capture, text mode, CSV, or standard input."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
from quiethand_protocol import Located, MessageType, Parser, Session

from quiethand.bow.model import Setup
from quiethand.bow.setup_file import setup_from_document
from quiethand.errors import InputError
from quiethand.link.csv_file import CsvMotion
from quiethand.link.sniff import HEAD_BYTES, Kind, sniff
from quiethand.motion.block import MotionBlock
from quiethand.motion.facts import RecordingFacts
from quiethand.motion.stream import MotionStream

__all__ = ["MotionFile", "last_session", "open_motion"]

PIECE: Final = 1 << 20  # bytes read at once


class MotionFile:
    """An opened recording: iterate over it once for its blocks of motion; `facts` are complete after that.

    Attributes:
        name: what it was opened by.
        kind: "binary" (frames, also a recording of text mode), "text" or "csv".
        setup: the user's, or the one that the recording states of itself; None: neither.
    """

    def __init__(self, name: str, file: BinaryIO, head: bytes, kind: Kind, setup: Setup | None) -> None:
        self.name = name
        self.kind = kind
        self.setup = setup
        self._file = file
        self._head = head
        self._reader: MotionStream | CsvMotion
        if kind == "csv":
            self._reader = CsvMotion(setup, name)
        else:
            self._reader = MotionStream(setup, mode=kind)

    @property
    def facts(self) -> RecordingFacts:
        return self._reader.facts

    def __iter__(self) -> Iterator[MotionBlock]:
        try:
            piece = self._head
            while piece:
                yield from self._reader.feed(piece)
                piece = self._read()
            yield from self._reader.finish()
        finally:
            if self._file is not sys.stdin.buffer:
                self._file.close()
        self._refuse()

    def _read(self) -> bytes:
        try:
            return self._file.read(PIECE)
        except OSError as error:
            raise InputError(f"cannot be read on ({error.strerror})", where=self.name, do="try a copy of it") from None

    def _refuse(self) -> None:
        """What the wire format refuses, once all is known."""
        facts = self.facts
        if facts.refused is not None and not facts.samples:
            raise InputError(facts.refused, where=self.name, do="a later version of this program may read it")
        if facts.mode == "text" and facts.unscaled and not facts.samples:
            raise InputError(
                "no line says the units of its numbers", where=self.name,
                do="let the sketch print '# accel_unit=...' and '# gyro_unit=...', or state accel_scale and gyro_scale "
                "under [sensor] in a set-up file (a CSV needs a header)",
            )  # fmt: skip


def open_motion(path: str | Path, setup: Setup | None = None) -> MotionFile:
    """Open a recording; "-" is standard input.

    Without a set-up the recording's own SESSION is used: the last sound one in the file, for all of it. On standard
    input, which cannot be looked through first, each is in force from where it stands.

    Raises:
        InputError: no such file, a folder, empty, or no recording. While iterating: what the file's kind refuses.
    """
    name = str(path)
    if name == "-":
        file: BinaryIO = sys.stdin.buffer
    else:
        file = _opened(name)
    try:
        head = _head(file, name)
        kind = sniff(head)
        if kind is None:
            raise InputError(
                f"is not a recording (it begins with {head[:8]!r})", where=name,
                do="give a .qhr file, a raw capture of a sensor's stream, text mode or a CSV",
            )  # fmt: skip
        notes: list[str] = []
        if setup is None and kind == "binary" and name != "-":
            setup = _own_setup(name, notes)
    except BaseException:
        if name != "-":
            file.close()
        raise
    opened = MotionFile(name, file, head, kind, setup)
    for note in notes:
        opened.facts.note(note)
    return opened


def last_session(path: str | Path) -> Mapping[str, object] | None:
    """The object of the last sound SESSION frame in a file of frames; None: there is none.

    Looks for the frame's first bytes, and parses only what begins like one: an hour takes a tenth of a second.
    """
    found: Mapping[str, object] | None = None
    with open(path, "rb") as file:
        held = b"\0"
        while piece := file.read(PIECE):
            data = held + piece
            whole, _, held = data.rpartition(b"\0")
            held = b"\0" + held
            body = np.frombuffer(whole, dtype=np.uint8)
            # A run of type 0x81: its first code byte is over 1, so the type stands as it is.
            begins = (body[:-2] == 0) & (body[2:] == MessageType.SESSION)
            for start in (np.flatnonzero(begins) + 1).tolist():
                end = whole.find(b"\0", start)
                frame = whole[start : end if end >= 0 else None] + b"\0"
                for item in Parser("recording").feed(frame):
                    if isinstance(item, Located) and isinstance(item.message, Session):
                        found = item.message.document
    return found


def _own_setup(name: str, notes: list[str]) -> Setup | None:
    document = last_session(name)
    if document is None:
        return None
    try:
        setup = setup_from_document(document, f"{name}: SESSION", later_keys=True)
    except InputError as wrong:
        notes.append(f"the recording's own set-up is not used: {wrong}")
        return None
    notes.append("the set-up is the recording's own")
    return setup


def _opened(name: str) -> BinaryIO:
    try:
        if os.path.isdir(name):
            raise InputError("is a folder", where=name, do="name a file in it")
        return open(name, "rb")  # MotionFile closes it
    except FileNotFoundError:
        raise InputError("no such file", where=name, do="check the name and the folder") from None
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(f"cannot be opened ({why})", where=name, do="check the name and who may read it") from None


def _head(file: BinaryIO, name: str) -> bytes:
    head = b""
    try:
        while len(head) < HEAD_BYTES:
            piece = file.read(HEAD_BYTES - len(head))
            if not piece:
                break
            head += piece
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", where=name, do="try a copy of it") from None
    if not head:
        raise InputError("is empty", where=name, do="check that the recording was finished")
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError("is text in UTF-16", where=name, do="save it as UTF-8")
    return head
