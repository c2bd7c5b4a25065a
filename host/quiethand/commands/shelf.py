"""Puts what was found in one recording into the store, as it is found."""

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

__all__ = ["Shelf"]


class Shelf:
    """One recording's place in the store.

    Args:
        store: open.
        path: of the recording.
        growing: it is being written; its content has no hash yet.
    """

    def __init__(self, store: Store, path: Path, *, growing: bool) -> None:
        self.store, self.path = store, path
        with path.open("rb") as file:
            self._header = header_object(file.read(HEADER_LIMIT))
        self._sha256 = None if growing else content_sha256(path)
        self._recording_id: int | None = None
        self.added = 0

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
            new = self.store.add_shot(
                recording_id,
                document,
                result,
                shot_object(result),
                unix_s=self._started(facts)[0] + at_s,
                software=software(),
            )
            self.added += new is not None
        if rejected:
            self.store.add_rejected(self._recording(facts), rejected, started_unix_s=self._started(facts)[0])

    def close(self, facts: RecordingFacts, notes: Iterable[str] = ()) -> None:
        """The recording has been read to its end."""
        self._sha256 = self._sha256 or content_sha256(self.path)
        state: Literal["whole", "damaged", "empty"] = "whole" if facts.whole else "damaged"
        self._put("empty" if not facts.samples else state, facts, list(notes))

    def _recording(self, facts: RecordingFacts) -> int:
        if self._recording_id is None:
            self._recording_id = self._put("growing", facts, [])
        return self._recording_id

    def _put(
        self, state: Literal["growing", "whole", "damaged", "empty"], facts: RecordingFacts, notes: list[str]
    ) -> int:
        started, started_from = self._started(facts)
        return self.store.put_recording(
            StoredFacts(
                path=within_home(self.path),
                identity=identity_of(self._header, self._sha256 or ""),
                started_unix_s=started,
                started_from=started_from,
                state=state,
                sha256=None if state == "growing" else self._sha256,
                rate_hz=facts.rate_hz,
                facts={**recording_object(facts), "notes": notes},
            )
        )

    def _started(self, facts: RecordingFacts) -> tuple[float, Literal["clock", "header", "file"]]:
        """When the recording's time was zero, and how that is known."""
        if facts.unix_at_zero_s is not None:
            return facts.unix_at_zero_s, "clock"
        created = self._header.get("created") if self._header else None
        if isinstance(created, str):
            try:
                return datetime.fromisoformat(created).timestamp(), "header"
            except ValueError:
                pass  # not RFC 3339: the file's own date has to do
        try:
            return self.path.stat().st_mtime - facts.duration_s, "file"
        except OSError:  # deleted meanwhile
            return time.time() - facts.duration_s, "file"
