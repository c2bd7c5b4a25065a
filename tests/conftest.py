"""What every test may rely on: an absent tool skips loudly, is counted, and is a failure where CI=true."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator

import pytest
from absent import ABSENT

_HOMES = itertools.count()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[None]:
    """In CI nothing may be skipped because a tool is missing: the machine is ours to set up."""
    report = yield
    if report.skipped and os.environ.get("CI") == "true" and ABSENT in str(report.longrepr):
        report.outcome = "failed"
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    absent = [r for r in terminalreporter.stats.get("skipped", []) if ABSENT in str(r.longrepr)]
    if absent:
        terminalreporter.write_line(f"{len(absent)} tests skipped because a tool is absent", yellow=True, bold=True)


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test reads or writes the data of whoever runs it, nor another test's."""
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path_factory.getbasetemp() / f"home-{next(_HOMES)}"))
