"""Puts what is found in a growing recording into the store, as it is found; what is stored of a recording."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from quiethand.analysis import recording_object, software
from quiethand.home import within_home
from quiethand.link.recording_header import HEADER_LIMIT, header_object
from quiethand.shots.contract import shot_object
from quiethand.shots.model import Rejected, Shot
from quiethand.store import RecordingFacts as StoredFacts
from quiethand.store.identity import content_sha256, identity_of

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.motion.facts import RecordingFacts
    from quiethand.store import Store

__all__ = ["Shelf", "read_header", "recording_state", "sensor_uid", "started"]

State = Literal["whole", "damaged", "empty"]


class Shelf:
    """One recording's place in the store.

    Args:
        store: open.
        path: of the recording, which is being written: its content has no hash yet.
    """

    def __init__(self, store: Store, path: Path) -> None:
        self.store, self.path = store, path
        self._header = read_header(path)
        self._recording_id: int | None = None

    def put(self, results: Iterable[Shot | Rejected], setup: Setup | None, facts: RecordingFacts) -> None:
        """Store shots (each at once) and what was rejected; what is there already is passed over."""
        rejected: list[Rejected] = []
        for result in results:
            recording_id = self._recording(facts)
            if isinstance(result, Rejected):
                rejected.append(result)
                continue
            at_s = result.departure_s if result.release_s is None else result.release_s
            document: Mapping[str, Any] = setup.document if setup else {}
            self.store.add_shot(
                recording_id,
                document,
                result,
                shot_object(result),
                unix_s=self._started(facts)[0] + at_s,
                software=software(),
                face=setup.target.face if setup else None,
                distance_m=setup.target.distance_m if setup else None,
            )
        if rejected:
            self.store.add_rejected(self._recording(facts), rejected, started_unix_s=self._started(facts)[0])

    def close(self, facts: RecordingFacts, notes: Iterable[str] = ()) -> None:
        """The recording has been read to its end."""
        sha256 = content_sha256(self.path)
        self._put(recording_state(facts), facts, list(notes), sha256)
        identity = identity_of(self._header, sha256)
        self.store.remember_recording(identity, within_home(self.path), sha256, self._started(facts)[0])

    def _recording(self, facts: RecordingFacts) -> int:
        if self._recording_id is None:
            self._recording_id = self._put("growing", facts, [], None)
        return self._recording_id

    def _put(
        self, state: Literal["growing"] | State, facts: RecordingFacts, notes: list[str], sha256: str | None
    ) -> int:
        started_unix_s, started_from = self._started(facts)
        return self.store.put_recording(
            StoredFacts(
                path=within_home(self.path),
                identity=identity_of(self._header, sha256 or ""),
                started_unix_s=started_unix_s,
                started_from=started_from,
                state=state,
                sha256=sha256,
                rate_hz=facts.rate_hz,
                sensor_uid=sensor_uid(facts),
                facts={**recording_object(facts), "notes": notes},
            )
        )

    def _started(self, facts: RecordingFacts) -> tuple[float, Literal["clock", "header", "file"]]:
        return started(self.path, self._header, facts)


def read_header(path: Path) -> dict[str, object] | None:
    """A recording's HEADER, None where it has none."""
    with path.open("rb") as file:
        return header_object(file.read(HEADER_LIMIT))


def recording_state(facts: RecordingFacts) -> State:
    """Of a recording read to its end."""
    if not facts.samples:
        return "empty"
    return "whole" if facts.whole else "damaged"


def sensor_uid(facts: RecordingFacts) -> str | None:
    """The device's own identity in hexadecimal, the last that a recording states."""
    uid = getattr(facts.descriptions[-1], "uid", None) if facts.descriptions else None
    return uid.hex() if isinstance(uid, bytes) else None


def started(
    path: Path, header: Mapping[str, object] | None, facts: RecordingFacts
) -> tuple[float, Literal["clock", "header", "file"]]:
    """When the recording's time was zero, and how that is known."""
    if facts.unix_at_zero_s is not None:
        return facts.unix_at_zero_s, "clock"
    created = header.get("created") if header else None
    if isinstance(created, str):
        try:
            return datetime.fromisoformat(created).timestamp(), "header"
        except ValueError:
            pass  # not RFC 3339: the file's own date has to do
    try:
        return path.stat().st_mtime - facts.duration_s, "file"
    except OSError:  # deleted meanwhile
        return time.time() - facts.duration_s, "file"
