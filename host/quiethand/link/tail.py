"""A file that another process is still writing, read as it grows."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

__all__ = ["tail"]

_PIECE: Final = 1 << 18
_LOOK_AGAIN_S: Final = 0.03  # soon enough that a shot is on the page while the archer still looks


def tail(path: Path, ended: Callable[[], bool]) -> Iterator[bytes]:
    """Yield what has been appended, b"" where nothing was; stops at the end of the file once `ended()` is true."""
    with path.open("rb") as file:
        while True:
            last_look = ended()  # asked before reading, so that bytes written before the end are never missed
            data = file.read(_PIECE)
            if not data and last_look:
                return
            yield data
            if not data:
                time.sleep(_LOOK_AGAIN_S)
