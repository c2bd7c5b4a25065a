"""The store: a database opened, at the schema of this program, for reading and writing."""

from __future__ import annotations

import os

from sqlalchemy import Engine

from quiethand.home import store_url
from quiethand.store.engine import make_engine
from quiethand.store.impacts import Impacts
from quiethand.store.journal import Journal, journal_of
from quiethand.store.marks import Marks
from quiethand.store.reading import Reading
from quiethand.store.schema import bring_up_to_date
from quiethand.store.stated import Stated
from quiethand.store.writing import Writing

__all__ = ["Store", "open_store"]


class Store(Reading, Writing, Marks, Impacts, Stated):
    """Shots in a database, and what people typed about them.

    Safe to use from several threads and processes at once; writers take turns.
    """

    def __init__(self, engine: Engine, journal: Journal | None = None) -> None:
        super().__init__(engine)
        self.journal = journal

    def close(self) -> None:
        self.engine.dispose()


def open_store(url: str | None = None) -> Store:
    """Open the store, made or migrated if need be.

    Args:
        url: any SQLAlchemy URL; None: what QUIETHAND_STORE names, else the SQLite file in the home.

    Raises:
        InputError: it can't be opened, is no store, or was written by a later version.
    """
    engine = make_engine(url or os.environ.get("QUIETHAND_STORE") or store_url())
    bring_up_to_date(engine)
    journal = journal_of(engine)
    if journal is not None:
        journal.bring_together(engine)
    return Store(engine, journal)
