"""Who may read the page: browsers that hold a cookie, and a one-time link is what gives it to them.

A link carries a random token that works once; whoever opens it gets a random cookie in its place. Of both only hashes
are kept, in a file of the home, so that a page that is started again knows its devices, and so that a second process
(`quiethand dashboard --new-link`) can make a link for a page that is running.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

__all__ = ["COOKIE_DAYS", "OPEN_PATH", "Access"]

OPEN_PATH: Final = "/open"
COOKIE_DAYS: Final = 180  # a winter's league; then the terminal's link once more
_MOST: Final = 64  # devices, and links that nobody has opened: the oldest go first
_BYTES: Final = 32  # 256 random bits, beyond any guessing
_LONGEST: Final = 200  # characters of a token or cookie that are looked at at all


class Access:
    """Links and devices.

    Args:
        file: where they are kept; None: in memory alone.
        now: a clock in unix seconds.

    Attributes:
        opened: called after a link was used, with nothing; for a terminal that then prints the next.
    """

    def __init__(self, file: Path | None = None, *, now: Callable[[], float] = time.time) -> None:
        self._file, self._now, self._lock = file, now, threading.Lock()
        self._state: dict[str, Any] = {"id": secrets.token_hex(4), "links": {}, "devices": {}}
        self._seen_mtime_ns = -1
        self.opened: Callable[[], None] = lambda: None
        with self._lock:
            self._read()
            self._write()

    @property
    def cookie(self) -> str:
        """The cookie's name: one of each home, as browsers don't keep cookies apart by port."""
        return f"quiethand-{self._state['id']}"

    def link(self, *, valid_s: float | None = None) -> str:
        """A new one-time link, as a path with its token; without `valid_s` it waits until somebody opens it."""
        token = secrets.token_urlsafe(_BYTES)
        with self._lock:
            self._read()
            self._state["links"][_hash(token)] = None if valid_s is None else self._now() + valid_s
            self._write()
        return f"{OPEN_PATH}?token={token}"

    def open(self, token: str) -> str | None:
        """Use a link's token up. Returns the new cookie's value; None where no link waits for this token."""
        with self._lock:
            self._read()
            found = _find(self._state["links"], token)
            if found is None:
                return None
            until = self._state["links"].pop(found)
            if until is not None and until < self._now():
                self._write()
                return None
            value = secrets.token_urlsafe(_BYTES)
            self._state["devices"][_hash(value)] = self._now() + COOKIE_DAYS * 86400
            self._write()
        self.opened()
        return value

    def holds(self, value: str | None) -> bool:
        """Whether a cookie's value is that of a device."""
        if not value:
            return False
        with self._lock:
            found = _find(self._state["devices"], value)
            if found is None and self._read():  # another process may have let it in
                found = _find(self._state["devices"], value)
            return found is not None and self._state["devices"][found] > self._now()

    def _read(self) -> bool:
        """Take over what another process wrote; whether there was anything new."""
        if self._file is None:
            return False
        try:
            mtime_ns = self._file.stat().st_mtime_ns
            if mtime_ns == self._seen_mtime_ns:
                return False
            state = json.loads(self._file.read_text())
            if not (isinstance(state["id"], str) and all(isinstance(state[k], dict) for k in ("links", "devices"))):
                return False
        except (OSError, ValueError, KeyError, TypeError):  # none yet, or damaged: a new one takes its place
            return False
        self._state, self._seen_mtime_ns = state, mtime_ns
        return True

    def _write(self) -> None:
        for kind in ("links", "devices"):
            kept = self._state[kind]
            while len(kept) > _MOST:
                kept.pop(next(iter(kept)))
        if self._file is None:
            return
        self._file.parent.mkdir(parents=True, exist_ok=True)
        fresh = self._file.with_name(f"{self._file.name}.{os.getpid()}")
        with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as out:
            json.dump(self._state, out)
        fresh.replace(self._file)
        self._seen_mtime_ns = self._file.stat().st_mtime_ns


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _find(known: Iterable[str], token: str) -> str | None:
    """The hash among `known` that is the token's; all are compared, each in the same time whatever they share."""
    asked, found = _hash(token[:_LONGEST]), None
    for one in list(known):
        if hmac.compare_digest(one, asked):
            found = one
    return found
