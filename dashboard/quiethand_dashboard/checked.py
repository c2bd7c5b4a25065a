"""Which recordings lie in the data folder, and whether each is whole: found out once, beside the page's work."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.store.store import Store

__all__ = ["Checker", "Listed"]

_MOST_BYTES: Final = 200_000_000  # half an hour at 8 kHz; a longer one would hold the page up
_SHOWN: Final = 30

_State = tuple[str, float | None]


@dataclass(frozen=True)
class Listed:
    """One recording. `state`: whole, damaged, empty, unreadable, growing, looking, too long; `duration_s` None: not
    known."""

    name: str
    begun_unix_s: float
    size_bytes: int
    state: str
    duration_s: float | None
    shots: int | None


class Checker:
    """Looks at one recording after the other in a thread of its own, the newest first."""

    def __init__(self) -> None:
        self._begun: dict[tuple[str, int], float] = {}
        self._found: dict[tuple[str, int, int], _State] = {}
        self._wanted: queue.LifoQueue[tuple[tuple[str, int, int], Path]] = queue.LifoQueue()
        self._asked: set[tuple[str, int, int]] = set()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def listed(self, folder: Path, growing: str, store: Store) -> list[Listed]:
        """The newest recordings of a folder, the newest first.

        Args:
            growing: the name of the one that is being recorded; "" for none.
            store: knows how many shots are in each.
        """
        paths = [p for p in folder.glob("*.qhr") if p.is_file()] if folder.is_dir() else []
        begun = {path: self._begun_unix_s(path) for path in paths}
        shots = {Path(one.path).name: one.shots for one in store.recordings()}
        found = []
        for path in sorted(paths, key=lambda path: -begun[path])[:_SHOWN]:
            try:
                stat = path.stat()
            except OSError:  # gone meanwhile
                continue
            if path.name == growing:
                state: _State = ("growing", None)
            elif stat.st_size > _MOST_BYTES:
                state = ("too long", None)
            else:
                state = self._state((path.name, stat.st_size, stat.st_mtime_ns), path)
            found.append(Listed(path.name, begun[path], stat.st_size, *state, shots.get(path.name)))
        return found

    def _begun_unix_s(self, path: Path) -> float:
        """As its HEADER says, or else when it was written to last."""
        try:
            stat = path.stat()
        except OSError:  # gone meanwhile
            return 0.0
        key = (path.name, stat.st_ino)
        if key not in self._begun:
            told = _told_unix_s(path)
            if told is None:
                return stat.st_mtime
            self._begun[key] = told
        return self._begun[key]

    def _state(self, key: tuple[str, int, int], path: Path) -> _State:
        with self._lock:
            if key in self._found:
                return self._found[key]
            if key not in self._asked:
                self._asked.add(key)
                self._wanted.put((key, path))
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, daemon=True, name="recordings")
                self._thread.start()
        return ("looking", None)

    def _work(self) -> None:
        while True:
            key, path = self._wanted.get()
            state = _looked_at(path)
            with self._lock:
                self._found[key] = state


def _looked_at(path: Path) -> _State:
    from quiethand.link.files import open_motion

    try:
        opened = open_motion(str(path), None)
        for _ in opened:
            pass
    except (InputError, OSError):
        return ("unreadable", None)
    facts = opened.facts
    if not facts.samples:
        return ("empty", None)
    return ("whole" if facts.whole else "damaged", facts.duration_s)


def _told_unix_s(path: Path) -> float | None:
    """When it was begun, by its HEADER."""
    from quiethand.link.recording_header import HEADER_LIMIT, header_object

    try:
        with path.open("rb") as file:
            header = header_object(file.read(HEADER_LIMIT))
        return datetime.fromisoformat(str((header or {}).get("created", ""))).timestamp()
    except (OSError, ValueError):
        return None
