"""The list of what people typed, once more, in a text file beside the database: a database can be made again from
recordings, this can't. One line of JSON an entry, only ever added to.
"""

from __future__ import annotations

import contextlib
import json
import os
import time
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import Engine, select

from quiethand.errors import InputError
from quiethand.link.lock import lock_file
from quiethand.store.engine import reading, writing
from quiethand.store.events import Event, events_of, replay
from quiethand.store.rows import count_change
from quiethand.store.typed_tables import TypedRow

__all__ = ["Journal", "journal_of", "read_journal", "write_journal"]

_PATIENCE_S: Final = 10.0  # longer than any writer needs
_TAIL: Final = 1 << 16


def journal_of(engine: Engine) -> Journal | None:
    """The file beside an SQLite database; a server has none (its copy is made by `backup`)."""
    name = engine.url.database
    if engine.dialect.name != "sqlite" or not name or name == ":memory:":
        return None
    return Journal(Path(name).with_suffix(".typed.jsonl"))


class Journal:
    def __init__(self, path: Path) -> None:
        self.path = path

    def bring_together(self, engine: Engine) -> int:
        """Write to the file what the database alone knows, and enter there what the file alone knows (after the
        database was deleted, or an older one put in its place).

        Returns:
            How many entries came from the file.

        Raises:
            InputError: the file can't be read or written. What was typed is in the database all the same.
        """
        try:
            with self._held() as file:
                return self._bring_together(engine, file)
        except OSError as error:
            raise InputError(
                f"the list of what was typed can't be kept ({error.strerror})",
                where=str(self.path),
                do="check that the disk is not full and the file may be written to",
            ) from None

    def _bring_together(self, engine: Engine, file: IO[bytes]) -> int:
        _cut_torn_end(file)
        last = _last_uid(file)
        new = 0
        with reading(engine) as connection:
            newest = select(TypedRow.uid).order_by(TypedRow.id.desc()).limit(1)
            if connection.execute(newest).scalar_one_or_none() == last:
                return 0
            known = connection.execute(select(TypedRow.id).where(TypedRow.uid == last)).scalar_one_or_none()
        if last is not None and known is None:
            file.seek(0)
            listed = list(read_journal(file, self.path))
            with writing(engine) as connection:
                new = replay(connection, listed)
                count_change(connection)
            in_file = {event.uid for event in listed}
            with reading(engine) as connection:
                missing = [event for event in events_of(connection) if event.uid not in in_file]
        else:
            with reading(engine) as connection:
                missing = events_of(connection, known or 0)
        file.seek(0, os.SEEK_END)
        write_journal(file, missing)
        file.flush()
        os.fsync(file.fileno())
        return new

    @contextlib.contextmanager
    def _held(self) -> Iterator[IO[bytes]]:
        with self.path.open("a+b") as file:
            until = time.monotonic() + _PATIENCE_S
            while not lock_file(file.fileno()):
                if time.monotonic() > until:
                    raise InputError(
                        "another program holds the list of what was typed",
                        where=str(self.path),
                        do="close the other program; what was typed is in the store",
                    )
                time.sleep(0.01)
            yield file


def write_journal(file: IO[bytes], events: Iterable[Event]) -> None:
    for event in events:
        line = json.dumps(asdict(event), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        file.write(line.encode() + b"\n")


def read_journal(file: IO[bytes], path: Path) -> Iterator[Event]:
    """Raises: InputError: a line that is no entry."""
    for number, line in enumerate(file, 1):
        try:
            values: dict[str, Any] = json.loads(line)
            yield Event(**{name: values[name] for name in Event.__dataclass_fields__})
        except (ValueError, KeyError, TypeError):
            raise InputError(
                "no entry of what was typed",
                where=f"{path}, line {number}",
                do="take the line out",
            ) from None


def _cut_torn_end(file: IO[bytes]) -> None:
    """A line that a killed program left unfinished is in the database, and comes again whole."""
    end = file.seek(0, os.SEEK_END)
    start = max(0, end - _TAIL)
    while True:
        file.seek(start)
        at = file.read(end - start).rfind(b"\n")
        if at >= 0 or start == 0:
            break
        start = max(0, start - _TAIL)
    if start + at + 1 < end:
        file.truncate(start + at + 1)


def _last_uid(file: IO[bytes]) -> str | None:
    end = file.seek(0, os.SEEK_END)
    start = end
    tail = b""
    while start > 0 and tail.count(b"\n") < 2:
        start = max(0, start - _TAIL)
        file.seek(start)
        tail = file.read(end - start)
    lines = tail.splitlines()
    if not lines:
        return None
    try:
        return str(json.loads(lines[-1])["uid"])
    except (ValueError, KeyError, TypeError):
        return ""  # no entry: reading the whole file will say where
