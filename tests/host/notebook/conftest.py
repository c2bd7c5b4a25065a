"""Written once for all tests of this folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from quiethand.emulator import Scenario, setup_document, setup_toml, write_recording

SCENARIO = Scenario(seed=21, rate_hz=1000.0, shots=2, every_s=8.0)


@pytest.fixture(scope="session")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording of two invented shots, its set-up beside it as `bow.toml`."""
    path = tmp_path_factory.mktemp("notebook") / "evening.qhr"
    write_recording(path, SCENARIO)
    path.with_name("bow.toml").write_text(setup_toml(setup_document(SCENARIO)), encoding="utf-8")
    return path
