"""The command line as a person runs it, in this process: exit status, what it prints, what it complains of."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from quiethand.commands import main

__all__ = ["Ran", "refused", "run"]


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str


def run(capsys: pytest.CaptureFixture[str], *args: object) -> Ran:
    capsys.readouterr()
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in args])
    said = capsys.readouterr()
    return Ran(int(left.value.code or 0), said.out, said.err)


def refused(ran: Ran) -> str:
    """The one line of a refusal; anything else is a failure."""
    assert ran.status == 2, ran
    assert ran.err.count("\n") == 1, ran.err
    assert ran.err.startswith("quiethand: ")
    assert "Traceback" not in ran.err
    return ran.err
