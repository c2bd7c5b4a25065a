"""Writing a file all or not at all: beside its place under another name, then put there in one step."""

from __future__ import annotations

import contextlib
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from quiethand.errors import InputError

__all__ = ["refuse_overwriting", "whole_file"]


def refuse_overwriting(path: str, *, force: bool) -> None:
    """Say early, before any long work, that a file can't be written.

    Raises:
        InputError: it is there and `force` is off, it is a folder, or its folder is not there.
    """
    target = Path(path)
    try:
        if target.is_dir():
            raise InputError("is a folder", where=path, do="name a file in it")
        if not target.parent.is_dir():
            raise InputError("its folder is not there", where=path, do="make the folder, or name another")
        if target.is_file() and not force:
            raise InputError("is there already", where=path, do="choose another name, or add --force")
    except (OSError, ValueError) as trouble:  # a name too long, or with a zero byte
        why = getattr(trouble, "strerror", None) or str(trouble)
        raise InputError(f"cannot be written ({why})", where=path[:200], do="choose another name") from None


@contextlib.contextmanager
def whole_file(path: str, *, force: bool) -> Iterator[BinaryIO]:
    """A file to write to; it stands at `path`, whole, once the block has ended without an exception.

    "-" is standard output, which is written as it comes; so is what is no file (a pipe, a terminal).

    Raises:
        InputError: it can't be written, or was made by somebody else meanwhile and `force` is off.
    """
    if path == "-":
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    refuse_overwriting(path, force=force)
    target = Path(os.path.realpath(path))  # through a link to the file itself
    temporary: str | None = None
    try:
        if target.exists() and not stat.S_ISREG(target.stat().st_mode):
            with target.open("wb") as pipe:
                yield pipe
            return
        handle, temporary = tempfile.mkstemp(prefix=f".{target.name[:60]}.", suffix=".part", dir=target.parent)
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, _usual_mode(target))
        _put(temporary, target, force=force)
        temporary = None
    except FileExistsError:
        raise InputError("was made by somebody else meanwhile", where=path, do="add --force to replace it") from None
    except OSError as trouble:
        raise InputError(
            f"cannot be written ({trouble.strerror or trouble})", where=path, do="check the folder and the disk"
        ) from trouble
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def _usual_mode(target: Path) -> int:
    """As the file that is replaced, or as a new file of this user: a temporary one is readable by nobody else."""
    if target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _put(temporary: str, target: Path, *, force: bool) -> None:
    if force:
        os.replace(temporary, target)
        return
    try:
        os.link(temporary, target)  # unlike a rename it never replaces what somebody made meanwhile
    except (NotImplementedError, PermissionError, OSError) as trouble:
        if isinstance(trouble, FileExistsError) or target.exists():
            raise FileExistsError(target) from None
        os.rename(temporary, target)  # a file system without links
        return
    os.unlink(temporary)
