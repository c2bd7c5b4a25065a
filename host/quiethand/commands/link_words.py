"""What a check or a watch of a link found, for people and for scripts."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from quiethand.link.check_findings import Finding
    from quiethand.link.check_talk import Evidence

__all__ = ["check_object", "check_text"]

_WORDS: Final = {"ok": "ok", "fails": "FAILS", "advice": "advice", "not_seen": "not seen"}
_WIDTH: Final = 110
_INDENT: Final = 10


def check_text(port: str, evidence: Evidence, findings: Sequence[Finding]) -> str:
    """A line for each thing asked, what was found, and for what is wrong, what to do."""
    lines = [f"{port}: {_who(evidence)}", ""]
    for finding in findings:
        lines.append(f"{_WORDS[finding.verdict]:<{_INDENT}}{finding.asks}: {finding.found}")
        if finding.do:
            lines += textwrap.wrap(
                finding.do, _WIDTH, initial_indent=" " * _INDENT + "> ", subsequent_indent=" " * (_INDENT + 2)
            )
    return "\n".join([*lines, "", _sum(findings)])


def check_object(port: str, evidence: Evidence, findings: Sequence[Finding]) -> str:
    """The same as JSON."""
    counts = {verdict: sum(f.verdict == verdict for f in findings) for verdict in _WORDS}
    return json.dumps(
        {
            "schema": 1,
            "port": port,
            "device": _who(evidence),
            "mode": evidence.mode,
            "all_right": not counts["fails"],
            "counts": counts,
            "findings": [asdict(finding) for finding in findings],
        },
        indent=1,
    )


def _who(evidence: Evidence) -> str:
    from quiethand.link.check_blocks import last_description

    said = last_description(evidence.arrivals)
    if said is None:
        return "a device that prints lines (text mode): it hears no commands, so less can be checked"
    return f"{said.sensor or 'a sensor'}, {said.firmware or 'unnamed firmware'}, uid {said.uid.hex()}"


def _sum(findings: Sequence[Finding]) -> str:
    failing = [finding.name for finding in findings if finding.verdict == "fails"]
    if not failing:
        return f"all right: nothing of {len(findings)} things asked fails"
    return f"{len(failing)} of {len(findings)} fail: {', '.join(failing)}"
