"""Shots as flat rows for frames and exports: who, when, every measure by its column's name, flags and notes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from quiethand.shots.measure_columns import MEASURES, measures_of
from quiethand.shots.method import METHOD_VERSION

if TYPE_CHECKING:
    from quiethand.analysis import Report
    from quiethand.motion.facts import RecordingFacts
    from quiethand.store import Store
    from quiethand.store.records import ShotFilter
    from quiethand.store.typed_records import ShotMarks

__all__ = ["SHOT_COLUMNS", "recording_rows", "started_unix_s", "store_pages"]

# What is not a measure, before and after them. `shot_id` is the store's and empty for a recording's shots.
_BEFORE: Final = ("shot_id", "recording", "number", "time_utc", "day", "archer", "bow", "arrow")
_TYPED: Final = ("excluded", "tags", "impact_right_mm", "impact_up_mm")  # by people, of stored shots
_AFTER: Final = ("departure_from", "flags", "notes", "face", "distance_m", *_TYPED, "stale", "software")
SHOT_COLUMNS: Final = (*_BEFORE, *MEASURES, *_AFTER)
_PAGE: Final = 2000


def recording_rows(report: Report) -> Iterator[dict[str, Any]]:
    """A recording's shots in their order.

    The time is that of the release (the departure where none is known), by the host's clock in the recording or else
    the date in its header; None where neither is there.
    """
    from quiethand.analysis import software

    start, setup = started_unix_s(report.facts), report.setup
    for shot in report.shots:
        at_s = shot.departure_s if shot.release_s is None else shot.release_s
        unix_s = None if start is None else start + at_s
        yield {
            "shot_id": None,
            "recording": report.name,
            "number": shot.number,
            "time_utc": _moment(unix_s),
            "day": None if unix_s is None else datetime.fromtimestamp(unix_s).date().isoformat(),
            "archer": (setup.archer.name if setup else None) or "",
            "bow": (setup.bow.name if setup else None) or "",
            "arrow": (setup.arrow.name if setup else None) or "",
            **measures_of(shot),
            "departure_from": shot.departure_from,
            "flags": "; ".join(flag.text for flag in shot.flags),
            "notes": "; ".join(shot.notes),
            "face": (setup.target.face if setup else None) or "",
            "distance_m": setup.target.distance_m if setup else None,
            "excluded": False,
            "tags": "",
            "impact_right_mm": None,
            "impact_up_mm": None,
            "stale": False,
            "software": software(),
        }


def store_pages(store: Store, wanted: ShotFilter) -> Iterator[list[dict[str, Any]]]:
    """Stored shots that fit, however many, in pages of some thousand, the newest first."""
    seen: set[int] = set()
    while True:
        # Shots of the very time at which a page ended come again with the next, and are known by their ids.
        page = [row for row in store.shot_rows(wanted, limit=_PAGE) if row["id"] not in seen]
        if not page:
            return
        marks = store.marks([row["id"] for row in page])
        yield [_stored(row, marks[row["id"]]) for row in page]
        seen.update(row["id"] for row in page)
        wanted = replace(wanted, before_unix_s=math.nextafter(page[-1]["unix_s"], math.inf))


def _stored(row: Mapping[str, Any], marks: ShotMarks) -> dict[str, Any]:
    impact = marks.impact
    return {
        "shot_id": row["id"],
        **{name: row[name] for name in ("recording", "number", "day", "archer", "bow", "arrow")},
        "time_utc": _moment(row["unix_s"]),
        **{name: row[name] for name in MEASURES},
        "departure_from": row["departure_from"],
        "flags": "; ".join(flag["text"] for flag in row["flags"]),
        "notes": "; ".join(row["notes"]),
        "face": row["face"],
        "distance_m": row["distance_m"],
        "excluded": row["excluded"],
        "tags": "; ".join(marks.tags),
        "impact_right_mm": None if impact is None else impact.right_mm,
        "impact_up_mm": None if impact is None else impact.up_mm,
        "stale": row["method"] != METHOD_VERSION,
        "software": row["software"],
    }


def started_unix_s(facts: RecordingFacts) -> float | None:
    """When the recording's time was zero, by the host's clock or the recording's header; None: nobody said."""
    if facts.unix_at_zero_s is not None:
        return facts.unix_at_zero_s
    created = facts.header.get("created") if facts.header else None
    try:
        return datetime.fromisoformat(created).timestamp() if isinstance(created, str) else None
    except ValueError:  # not RFC 3339
        return None


def _moment(unix_s: float | None) -> datetime | None:
    return None if unix_s is None else datetime.fromtimestamp(unix_s, UTC)
