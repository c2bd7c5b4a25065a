"""One store with an invented league for the tests that only read."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from invented_league import league
from quiethand.store.store import Store, open_store


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path_factory.mktemp('league') / 'league.db'}")
    league(opened, evenings=2, shots=8)
    yield opened
    opened.close()


@pytest.fixture
def fresh(tmp_path: object) -> Iterator[Store]:
    """A store with nothing in it, to write to."""
    opened = open_store(f"sqlite:///{tmp_path}/fresh.db")
    yield opened
    opened.close()
