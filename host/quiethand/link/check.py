"""A check of a device against the wire format: talk to it, judge what came, one line for each thing asked."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from quiethand.link.check_commands import command_findings
from quiethand.link.check_description import description_findings
from quiethand.link.check_findings import Finding
from quiethand.link.check_script import converse
from quiethand.link.check_settings import settings_findings
from quiethand.link.check_stream import stream_findings
from quiethand.link.check_talk import Evidence, Talk
from quiethand.link.check_text import text_findings

if TYPE_CHECKING:
    from quiethand.link.check_talk import Wire

__all__ = ["NoAnswerError", "check_device", "judge"]


class NoAnswerError(Exception):
    """Nothing that a sensor says was heard. `bytes_heard`: how much else came."""

    def __init__(self, bytes_heard: int) -> None:
        super().__init__("no answer in 5 s")
        self.bytes_heard = bytes_heard


def check_device(
    wire: Wire,
    now: Callable[[], float],
    tell: Callable[[str], None] = lambda _phase: None,
    pause: Callable[[float], None] = time.sleep,
) -> tuple[Evidence, list[Finding]]:
    """Talk to a device for some 28 s and judge it.

    Args:
        wire: an open link.
        now: seconds of a clock that only goes forward.
        tell: called with the name of each phase as it begins.
        pause: lets so many seconds pass while nothing is read.

    Raises:
        NoAnswerError: neither a DESCRIPTION nor lines of text mode came.
    """
    evidence = converse(Talk(wire, now, tell, pause))
    return evidence, judge(evidence)


def judge(evidence: Evidence) -> list[Finding]:
    """All findings, in the order in which a maker would mend them."""
    if evidence.mode == "text":
        return text_findings(evidence)
    if "stopped" not in evidence.phases:
        raise NoAnswerError(evidence.bytes_heard)
    return [
        *description_findings(evidence),
        *command_findings(evidence),
        *stream_findings(evidence),
        *settings_findings(evidence),
    ]
