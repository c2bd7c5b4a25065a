"""Stores to test on: an SQLite file and a PostgreSQL database, both made once and copied."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from postgres_server import Databases, server
from quiethand.store import Store, open_store


@pytest.fixture(scope="session")
def postgres() -> Iterator[Databases]:
    with server() as url:
        yield Databases(url)


@pytest.fixture(scope="session")
def _empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("made") / "empty.sqlite3"
    made = open_store(f"sqlite:///{path}")
    with made.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    made.close()
    return path


@pytest.fixture
def sqlite_url(_empty_file: Path, tmp_path: Path) -> str:
    """Of an empty store in a file."""
    shutil.copy(_empty_file, tmp_path / "shots.sqlite3")
    return f"sqlite:///{tmp_path / 'shots.sqlite3'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def store_url(request: pytest.FixtureRequest) -> str:
    """Of an empty store on each kind of database."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("sqlite_url"))
    databases: Databases = request.getfixturevalue("postgres")
    return databases.fresh()


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    opened = open_store(store_url)
    yield opened
    opened.close()
