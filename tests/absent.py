"""Tools from outside that some tests drive: there, or the test skips and says so."""

from __future__ import annotations

import shutil

import pytest

__all__ = ["ABSENT", "need"]

ABSENT = "absent tool: "


def need(tool: str) -> str:
    """The path of a program, or a skip that is counted (a failure where CI=true)."""
    path = shutil.which(tool)
    if path is None:
        pytest.skip(ABSENT + tool)
    return path
