"""What was measured of one recording, ready to be stored: plain values, so that another process, or another machine,
can have measured it."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from quiethand.shots.method import METHOD_VERSION
from quiethand.shots.model import Rejected, Shot
from quiethand.store.measures import measures_of
from quiethand.store.packing import pack_trace
from quiethand.store.records import RecordingFacts

__all__ = ["MeasuredRecording", "MeasuredShot", "measured_from_json", "measured_shot", "measured_to_json",
           "rejected_rows"]  # fmt: skip


@dataclass(frozen=True)
class MeasuredShot:
    values: Mapping[str, Any]  # the columns of `shots` that name no other table's row
    names: Mapping[str, str]  # of archer, bow and arrow; "" where not stated
    document: Mapping[str, Any]  # the set-up that it was measured with
    traces: Sequence[Mapping[str, Any]]  # rows of `traces`


@dataclass(frozen=True)
class MeasuredRecording:
    facts: RecordingFacts
    shots: Sequence[MeasuredShot]
    rejected: Sequence[Mapping[str, Any]]  # rows of `rejected`


def measured_shot(
    shot: Shot,
    contract: Mapping[str, Any],
    document: Mapping[str, Any],
    *,
    unix_s: float,
    software: str,
    face: str | None = None,
    distance_m: float | None = None,
) -> MeasuredShot:
    """See `Store.add_shot`."""
    values = {
        "number": shot.number,
        "unix_s": unix_s,
        "day": datetime.fromtimestamp(unix_s).date().isoformat(),
        "segment": shot.segment,
        "departure_from": shot.departure_from,
        "flags": list(contract.get("flags", [])),
        "notes": list(shot.notes),
        "contract": dict(contract),
        "software": software,
        "method": METHOD_VERSION,
        "flagged": any(flag.verdict != "too_close_to_tell" for flag in shot.flags),
        "face": face or "",
        "distance_m": distance_m,
        **measures_of(shot),
    }
    names = {kind: _name(document.get(kind)) for kind in ("archer", "bow", "arrow")}
    traces = [] if shot.trace is None else list(pack_trace(shot.trace))
    return MeasuredShot(values, names, dict(document), traces)


def _name(part: object) -> str:
    stated = part.get("name") if isinstance(part, Mapping) else None
    return stated if isinstance(stated, str) else ""


def rejected_rows(rejected: Sequence[Rejected], started_unix_s: float) -> list[dict[str, Any]]:
    return [
        {"time_s": r.time_s, "unix_s": started_unix_s + r.time_s, "reason": r.reason, "text": r.text} for r in rejected
    ]


def measured_to_json(measured: MeasuredRecording) -> str:
    """For the way between processes: every figure comes back to the last bit."""
    shots = [
        {
            "values": shot.values,
            "names": shot.names,
            "document": shot.document,
            "traces": [{**row, "data": base64.b64encode(row["data"]).decode()} for row in shot.traces],
        }
        for shot in measured.shots
    ]
    return json.dumps({"facts": asdict(measured.facts), "shots": shots, "rejected": measured.rejected})


def measured_from_json(text: str) -> MeasuredRecording:
    whole = json.loads(text)
    shots = [
        MeasuredShot(
            shot["values"],
            shot["names"],
            shot["document"],
            [{**row, "data": base64.b64decode(row["data"])} for row in shot["traces"]],
        )
        for shot in whole["shots"]
    ]
    return MeasuredRecording(RecordingFacts(**whole["facts"]), shots, whole["rejected"])
