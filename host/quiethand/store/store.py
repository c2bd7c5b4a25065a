"""The store: a database opened, at the schema of this program, for reading and writing."""

from __future__ import annotations

from quiethand.home import store_url
from quiethand.store.engine import make_engine
from quiethand.store.reading import Reading
from quiethand.store.schema import bring_up_to_date
from quiethand.store.writing import Writing

__all__ = ["Store", "open_store"]


class Store(Reading, Writing):
    """Shots in a database. Safe to use from several threads and processes at once; writers take turns."""

    def close(self) -> None:
        self.engine.dispose()


def open_store(url: str | None = None) -> Store:
    """Open the store, made or migrated if need be.

    Args:
        url: any SQLAlchemy URL; None: the SQLite file in the home.

    Raises:
        InputError: it can't be opened, is no store, or was written by a later version.
    """
    engine = make_engine(url or store_url())
    bring_up_to_date(engine)
    return Store(engine)
