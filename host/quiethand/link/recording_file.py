"""A recording on disk: bytes handed to the operating system at every write, and to the disk every second.

Nothing is ever overwritten or cut; a write that fails is tried again from the byte where it stopped, so that a passing
fault leaves the file whole and a lasting one leaves it readable up to there.
"""

from __future__ import annotations

import contextlib
import errno
import os
import threading
import time
from pathlib import Path
from typing import Final

from quiethand.errors import InputError
from quiethand.link.lock import lock_file

__all__ = ["RecordingFile"]

_SYNC_EVERY_S: Final = 1.0
_TRIES: Final = 5  # of one write, over _TRY_AGAIN_S x 10: a passing fault; longer and the port's own buffer runs over
_TRY_AGAIN_S: Final = 0.02
_PLAIN_WORDS: Final = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "your share of the disk is used up",
    errno.EACCES: "it may not be written",
    errno.EPERM: "it may not be written",
    errno.EROFS: "the disk is read-only",
    errno.ENOENT: "the folder is not there",
    errno.ENOTDIR: "the folder is not there",
    errno.EISDIR: "it is a folder",
}


class RecordingFile:
    """A new file, locked against a second recorder.

    Raises (all methods):
        InputError: in one line, what is wrong with the file or the disk; what was written stays.
    """

    def __init__(self, path: Path, *, force: bool = False) -> None:
        """Open `path`, which must not exist yet unless `force`."""
        self.path = path
        self.bytes_written = 0
        flags = os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0) | (0 if force else os.O_EXCL)
        try:
            self._file = os.open(path, flags, 0o666)
        except FileExistsError:
            raise InputError("the file exists", where=str(path), do="choose another name, or give --force") from None
        except OSError as error:
            raise self._told(error, "choose a folder that you may write to") from None
        if not lock_file(self._file):
            os.close(self._file)
            raise InputError("another recorder is writing this file", where=str(path), do="choose another name")
        try:
            if os.fstat(self._file).st_size:
                os.ftruncate(self._file, 0)  # only now: the lock shows that nobody is recording into it
        except OSError as error:
            os.close(self._file)
            raise self._told(error, "choose another name") from None
        self._sync_fault: OSError | None = None
        self._closing = threading.Event()
        # A sync can take longer than a port's buffer lasts, so it has a thread of its own.
        self._syncer = threading.Thread(target=self._sync_each_second, daemon=True, name="sync")
        self._syncer.start()

    def write(self, data: bytes) -> None:
        """Hand `data` to the operating system, all of it."""
        if self._sync_fault is not None:
            raise self._told(self._sync_fault)
        rest = memoryview(data)
        tries = 0
        while rest:
            try:
                done = os.write(self._file, rest)
            except OSError as error:
                tries += 1
                if tries == _TRIES:
                    raise self._told(error) from None
                time.sleep(_TRY_AGAIN_S * tries)
                continue
            tries = 0
            self.bytes_written += done
            rest = rest[done:]

    def check(self) -> None:
        """Say so when the file was deleted or its folder has gone while it is being written."""
        try:
            links = os.fstat(self._file).st_nlink
        except OSError:  # a share that is away for a moment; the next write tells, should it stay away
            return
        if links == 0:
            raise InputError(
                "the file was deleted while it was being recorded", where=str(self.path), do="record to a new file"
            )

    def close(self) -> None:
        """To the disk, and let go."""
        self._closing.set()
        self._syncer.join()
        try:
            self._sync()
        except OSError as error:
            raise self._told(error) from None
        finally:
            with contextlib.suppress(OSError):  # the sync before it has told what there is to tell
                os.close(self._file)

    def _sync(self) -> None:
        try:
            os.fsync(self._file)
        except OSError as error:
            if error.errno == errno.EINVAL:  # a pipe or a device: nothing to sync
                return
            os.fsync(self._file)  # once more: a passing fault

    def _sync_each_second(self) -> None:
        while not self._closing.wait(_SYNC_EVERY_S):
            try:
                self._sync()
            except OSError as error:
                self._sync_fault = error
                return

    def _told(self, error: OSError, do: str = "") -> InputError:
        what = _PLAIN_WORDS.get(error.errno or 0) or f"it can't be written ({error.strerror or error})"
        kept = f"the {self.bytes_written:,} bytes before are kept" if self.bytes_written else ""
        return InputError(what, where=str(self.path), do=kept or do)
