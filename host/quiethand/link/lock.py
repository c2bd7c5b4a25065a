"""One holder of a file or port at a time, over all processes; let go by the system when the holder dies, however."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import tempfile
from pathlib import Path
from typing import IO

__all__ = ["HeldName", "lock_file", "lock_name"]

if sys.platform == "win32":
    _BEYOND_ANY_FILE = 1 << 62  # Windows' locks also keep readers out, so it is laid where nobody reads

    def lock_file(descriptor: int) -> bool:
        """Take the lock of an open file; False where another process has it."""
        import msvcrt

        place = os.lseek(descriptor, 0, os.SEEK_CUR)
        os.lseek(descriptor, _BEYOND_ANY_FILE, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(descriptor, place, os.SEEK_SET)
        return True

else:

    def lock_file(descriptor: int) -> bool:
        """Take the lock of an open file; False where another process has it."""
        import fcntl

        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:  # a file system without locks: better to record than to refuse
            return True
        return True


class HeldName:
    """A name held until `close`."""

    def __init__(self, file: IO[bytes], path: Path | None) -> None:
        self._file, self._path = file, path

    def close(self) -> None:
        if self._path is not None:
            with contextlib.suppress(OSError):  # Windows does not delete what is open; the empty file stays
                self._path.unlink()
        self._file.close()


def lock_name(name: str) -> HeldName | None:
    """Hold a name (a port's URL) until `close`; None where another process holds it.

    Serial ports have a lock of their own where the system gives one; a socket or a network port has none.
    """
    key = hashlib.sha256(name.encode()).hexdigest()[:16]
    path = Path(tempfile.gettempdir()) / f"quiethand-{key}.lock"
    while True:
        try:
            file = path.open("ab")
        except OSError:  # another user's: its lock can't be asked for
            return None if path.exists() else HeldName(tempfile.TemporaryFile(), None)
        if not lock_file(file.fileno()):
            file.close()
            return None
        if _is_still(file, path):
            return HeldName(file, path)
        file.close()  # its holder deleted it between our opening and our locking: it guards nothing any more


def _is_still(file: IO[bytes], path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except OSError:
        return False
