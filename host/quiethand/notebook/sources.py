"""What a person may name as the source of shots or samples: recordings, a store, or the store in the home."""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Union

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.store import Store
    from quiethand.store.records import ShotFilter

__all__ = ["Path_", "Source", "Wanted", "opened_store", "recordings_of", "setup_of", "wanted_shots"]

Path_ = Union[str, "os.PathLike[str]"]
Source = Union[Path_, Iterable[Path_], "Store", None]


def recordings_of(source: Source) -> list[str] | None:
    """The recordings that are meant; None: it is a store."""
    if source is None or is_url(source) or hasattr(source, "shot_rows"):
        return None
    if isinstance(source, (str, os.PathLike)):
        return [os.fspath(source)]
    if isinstance(source, Iterable):
        paths = list(source)
        if all(isinstance(path, (str, os.PathLike)) for path in paths):
            return [os.fspath(path) for path in paths]
    raise InputError(
        f"{type(source).__name__} names no recording", do="give a path, a list of paths, a store or its URL"
    )


def is_url(source: object) -> bool:
    return isinstance(source, str) and "://" in source


@contextmanager
def opened_store(source: Source) -> Iterator[Store]:
    """The store that is meant; one opened here is closed again."""
    from quiethand.store import Store, open_store

    if isinstance(source, Store):
        yield source
        return
    store = open_store(source if isinstance(source, str) else None)
    try:
        yield store
    finally:
        store.close()


def setup_of(setup: Setup | Path_ | None) -> Setup | None:
    """A set-up as it is, or read from its file."""
    if setup is None or not isinstance(setup, (str, os.PathLike)):
        return setup
    from quiethand.bow.setup_file import read_setup

    return read_setup(Path(setup))


@dataclass(frozen=True)
class Wanted:
    """Which shots; what is None does not restrict. Days are local ones as text, both within."""

    archer: str | None = None
    bow: str | None = None
    arrow: str | None = None
    day_from: str | None = None
    day_to: str | None = None
    tag: str | None = None

    def holds(self, row: Mapping[str, Any]) -> bool:
        """Whether a recording's shot is wanted; one without a day lies in no span of days."""
        named = all(getattr(self, name) in (None, row[name]) for name in ("archer", "bow", "arrow"))
        if self.day_from is None and self.day_to is None:
            return named
        day = row["day"]
        return named and day is not None and (self.day_from or day) <= day <= (self.day_to or day)

    def in_store(self, store: Store) -> ShotFilter:
        """As the store is asked.

        Raises:
            InputError: a name or tag that it does not know, with the nearest that it does.
        """
        from quiethand.store.records import ShotFilter

        for what in ("archer", "bow", "arrow", "tag"):
            name = getattr(self, what)
            if name is not None and name not in (known := getattr(store, f"{what}s")()):
                near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
                hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(known[:20]) or 'none yet'}"
                raise InputError(f'the store knows no {what} "{name}"', do=hint)
        return ShotFilter(**{field: getattr(self, field) for field in self.__dataclass_fields__})


def wanted_shots(
    *,
    archer: str | None = None,
    bow: str | None = None,
    arrow: str | None = None,
    since: str | date | None = None,
    until: str | date | None = None,
    tag: str | None = None,
) -> Wanted:
    """What a person asks for.

    Raises:
        InputError: not a day, or days the wrong way round.
    """
    first = None if since is None else _day(since, "since")
    last = None if until is None else _day(until, "until")
    if first is not None and last is not None and first > last:
        raise InputError(f"from {first} until {last} is no span of days", do="swap them")
    return Wanted(archer, bow, arrow, first, last, tag)


def _day(value: str | date, what: str) -> str:
    """A day as the store names it."""
    if isinstance(value, date):
        return value.isoformat()[:10]  # of a time, its day
    text = str(value).strip()
    for said, ago in (("today", 0), ("yesterday", 1)):
        if text.lower() == said:
            return (date.today() - timedelta(days=ago)).isoformat()
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError(f'"{text}" is not a day', where=what, do="write it as 2026-11-25") from None
