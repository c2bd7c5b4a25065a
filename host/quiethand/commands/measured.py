"""One recording measured for the store, here, in another process or on another machine by the same function."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.shots.model import Rejected, Shot
    from quiethand.store.measured import MeasuredRecording

__all__ = ["Told", "measure_for_store", "measure_recording"]


@dataclass(frozen=True)
class Told:
    """What came of one recording. Plain, so that it can go from machine to machine.

    Attributes:
        path: as given.
        text: the measured recording (`measured_from_json`); "" where it can't be read.
        wrong: why it can't be read, in one line; "" otherwise.
        busy_s: processor time that it took.
    """

    path: str
    text: str
    wrong: str
    busy_s: float


def measure_recording(path: str, document: Mapping[str, Any] | None = None, began_unix_s: float | None = None) -> Told:
    """Measure a recording, with a stated set-up or its own; `began_unix_s` as in `measure_for_store`."""
    from quiethand.errors import InputError
    from quiethand.store.measured import measured_to_json

    begun = time.process_time()
    text = wrong = ""
    try:
        setup = None
        if document is not None:
            from quiethand.bow.setup_file import setup_from_document

            setup = setup_from_document(document, "the set-up stated for this recording", later_keys=True)
        text = measured_to_json(measure_for_store(Path(path), setup, began_unix_s))
    except InputError as why:
        wrong = str(why)
    return Told(path, text, wrong, time.process_time() - begun)


def measure_for_store(path: Path, setup: Setup | None = None, began_unix_s: float | None = None) -> MeasuredRecording:
    """Measure a recording.

    Args:
        path: of the recording.
        setup: the user's; None: its own.
        began_unix_s: when it was begun, as it was known when it was first imported. It counts where the recording does
            not say so itself: a file's date changes when it is copied.

    Raises:
        InputError: the recording can't be read.
    """
    from quiethand.analysis import ShotFollower, recording_object, software
    from quiethand.commands.shelf import read_header, recording_state, sensor_uid, started
    from quiethand.errors import InputError
    from quiethand.home import within_home
    from quiethand.link.files import open_motion
    from quiethand.shots.contract import shot_object
    from quiethand.shots.model import Shot
    from quiethand.store.identity import content_sha256, identity_of
    from quiethand.store.measured import MeasuredRecording, measured_shot, rejected_rows
    from quiethand.store.records import RecordingFacts

    try:
        sha256, header = content_sha256(path), read_header(path)
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})", where=str(path), do="check the name") from None
    source = open_motion(str(path), setup)
    follower = ShotFollower(setup, source.facts)
    found: list[tuple[Shot, Setup | None]] = []
    rejected: list[Rejected] = []

    def keep(results: list[Shot | Rejected], in_force: Setup | None) -> None:
        for result in results:
            if isinstance(result, Shot):
                found.append((result, in_force))
            else:
                rejected.append(result)

    for block in source:
        before = follower.setup
        results = follower.follow(block)
        # Where the set-up changes, what comes out at once was measured with the one before.
        keep(results, before if before is not None else follower.setup)
    keep(follower.finish(), follower.setup)
    facts = source.facts
    started_unix_s, started_from = started(path, header, facts)
    if started_from == "file" and began_unix_s is not None:
        started_unix_s = began_unix_s
    return MeasuredRecording(
        RecordingFacts(
            path=within_home(path),
            identity=identity_of(header, sha256),
            started_unix_s=started_unix_s,
            started_from=started_from,
            state=recording_state(facts),
            sha256=sha256,
            rate_hz=facts.rate_hz,
            sensor_uid=sensor_uid(facts),
            facts={**recording_object(facts), "notes": [*facts.notes, *follower.notes]},
        ),
        [
            measured_shot(
                shot,
                shot_object(shot),
                in_force.document if in_force else {},
                unix_s=started_unix_s + (shot.departure_s if shot.release_s is None else shot.release_s),
                software=software(),
                face=in_force.target.face if in_force else None,
                distance_m=in_force.target.distance_m if in_force else None,
            )
            for shot, in_force in found
        ],
        rejected_rows(rejected, started_unix_s),
    )
