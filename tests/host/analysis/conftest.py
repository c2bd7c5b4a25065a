"""Written once for all tests of this folder: it takes a second."""

from __future__ import annotations

import pytest
from host.analysis.evening import Evening, shoot


@pytest.fixture(scope="session")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    return shoot(tmp_path_factory.mktemp("evening"))
