"""A recording that another process is still writing, followed by the page: motion for a calibration, the link's state.

What is read is bounded: of a long recording only the end, of a calibration all of it, which is minutes. A page that
was closed for a while begins anew.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.calibrate.cells import Cells
    from quiethand.calibrate.feedback import Feedback
    from quiethand.link.health import LinkHealth
    from quiethand.motion.block import MotionBlock

Mount = tuple[float, float, float, float]

__all__ = ["Followed", "GrowingCalibration", "GrowingLink"]

_END_BYTES: Final = 1 << 20  # of a long recording: 10 s at 8 kHz, so that a DESCRIPTION is in it
_MOST_BYTES: Final = 1 << 25  # of a calibration: two hours at 400 Hz, five minutes at 8 kHz
_AWAY_S: Final = 20.0


class _Tail:
    """The bytes that have come since the last look."""

    def __init__(self, path: Path, first: int) -> None:
        self._path, self._at = path, first

    def read(self) -> bytes:
        with self._path.open("rb") as file:
            file.seek(self._at)
            data = file.read(_MOST_BYTES)
        self._at += len(data)
        return data


class GrowingLink:
    """How the link does, by the end of the recording."""

    def __init__(self, path: Path) -> None:
        from quiethand.link.health import LinkWatch

        self._tail = _Tail(path, max(0, path.stat().st_size - _END_BYTES))
        self._watch = LinkWatch()

    def look(self) -> LinkHealth:
        self._watch.take(self._tail.read(), time.monotonic())
        return self._watch.health()


class GrowingCalibration:
    """A calibration as far as it has come."""

    def __init__(self, path: Path) -> None:
        from quiethand.bow.model import Setup
        from quiethand.motion.stream import MotionStream

        self._tail = _Tail(path, 0)
        # an empty set-up that is stated wins over the recording's own: sensor axes, nothing taken off
        self._stream = MotionStream(Setup(), "recording")
        self._blocks: list[MotionBlock] = []
        self._session: Mapping[str, object] | None = None
        self._mount: Mount | None = None

    def look(self, kind: str) -> Feedback | None:
        """What to tell; None before the first second."""
        from quiethand.calibrate.cells import cells_of
        from quiethand.calibrate.feedback import feedback

        self._blocks += self._stream.feed(self._tail.read())
        if not self._blocks:
            return None
        cells: Cells = cells_of(self._blocks)
        return feedback(kind, cells, self._mount_stated())

    def _mount_stated(self) -> Mount | None:
        """As the set-up in the recording has it."""
        session = self._stream.facts.session
        if session is not self._session:
            from quiethand.bow.setup_file import setup_from_document

            self._session, self._mount = session, None
            with contextlib.suppress(InputError):
                self._mount = None if session is None else setup_from_document(session, "the recording").sensor.mount
        return self._mount


class Followed:
    """One of a kind for all who look, made anew for another recording or after a while away.

    Args:
        make: from the path of a recording.
    """

    def __init__(self, make: Callable[[Path], Any]) -> None:
        self._make = make
        self._lock = threading.Lock()
        self._path: Path | None = None
        self._looked_s = 0.0
        self._one: Any = None

    def look(self, path: Path, *args: Any) -> Any:
        """What `make(path).look(*args)` gives.

        Raises:
            OSError: the recording has gone.
            InputError: it can't be read.
        """
        with self._lock:
            now = time.monotonic()
            if path != self._path or now - self._looked_s > _AWAY_S:
                self._one, self._path = self._make(path), path
            self._looked_s = now
            return self._one.look(*args)
