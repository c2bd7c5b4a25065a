"""`quiethand reanalyse`: measure stored recordings again with today's method, and show what moves before it is kept."""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.commands.many import Job
    from quiethand.store import Store
    from quiethand.store.records import RecordingRecord
    from quiethand.store.remeasured import Change


@click.command()
@click.argument("recordings", nargs=-1, type=click.Path(path_type=Path))
@click.option("--stale", is_flag=True, help="Only recordings with figures of another method than today's.")
@click.option(
    "--setup", "setup_file", type=click.Path(path_type=Path), help="Measure with this set-up (TOML) from now on."
)
@click.option("--from-versions", is_flag=True, help="Measure with the store's set-up of that archer, bow and day.")
@click.option("--yes", is_flag=True, help="Keep the new figures without asking.")
@click.option("--details", is_flag=True, help="Name every figure that moves, shot by shot.")
@click.option("--jobs", type=click.IntRange(min=1), metavar="N", help="Processes; else one for each core.")
@click.option("--cluster", metavar="URL", help="A Dask scheduler (tcp://host:8786) whose workers do the work.")
@click.option(
    "--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else QUIETHAND_STORE, or your data folder."
)
def command(
    recordings: tuple[Path, ...],
    stale: bool,
    setup_file: Path | None,
    from_versions: bool,
    yes: bool,
    details: bool,
    jobs: int | None,
    cluster: str | None,
    store_url: str | None,
) -> None:
    """Measure stored recordings again (all, or those named) and show which figures move, and by how much.

    Nothing is written before you say so. Figures that are replaced are kept beside the new ones, with the method that
    they came from.

    \b
    Examples:
      quiethand reanalyse                     # all, asks before it writes
      quiethand reanalyse --stale --yes       # after an update
      quiethand reanalyse evening.qhr --setup mended.toml

    Exit status: 0 done; 2 a recording can't be read (its figures stay as they are).
    """
    from quiethand.commands.many import cores
    from quiethand.commands.moved_table import Moves
    from quiethand.store import open_store

    if setup_file is not None and from_versions:
        raise click.UsageError("--setup and --from-versions exclude each other", click.get_current_context())
    stated = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        stated = dict(read_setup(setup_file).document)
    store = open_store(store_url)
    plans = list(_plans(store, _chosen(store, recordings, stale), stated, from_versions))
    if not plans:
        click.echo("no recording to measure")
        return
    # What was measured waits in files, so that memory does not grow with the recordings.
    with tempfile.TemporaryDirectory(prefix="quiethand-") as folder:
        work = Work(store, plans, Path(folder), cluster, jobs or cores())
        moves = Moves(details=details)
        for change in work.measured():
            moves.take(change)
        moves.tell()
        click.echo(work.told())
        if work.files and _wanted(yes, moves.shots):
            work.write()
            click.echo(f"written: {len(work.files)} recordings; the figures replaced are kept")
        elif work.files:
            click.echo("nothing is written (--yes keeps the new figures)")
    store.close()
    if work.unread:
        raise click.exceptions.Exit(2)


@dataclass(frozen=True)
class Plan:
    """One recording to be measured; `restate`: with another set-up than before, which then is the stated one."""

    recording: RecordingRecord
    job: Job
    restate: bool


class Work:
    """Measures what is planned, holds it in files, and writes it when told to."""

    def __init__(self, store: Store, plans: list[Plan], folder: Path, cluster: str | None, workers: int) -> None:
        self.store, self.plans, self.folder, self.cluster = store, plans, folder, cluster
        self.workers = max(1, min(workers, len(plans)))
        self.files: list[tuple[Plan, Path]] = []
        self.unread = 0
        self._busy_s = self._wall_s = 0.0

    def measured(self) -> Iterator[Change]:
        """Measure all; gives what would change, recording by recording."""
        from quiethand.commands.many import measure_many
        from quiethand.store.measured import measured_from_json

        by_path = {plan.job.path: plan for plan in self.plans}
        begun = time.monotonic()
        jobs = [plan.job for plan in by_path.values()]
        with _progress(len(jobs)) as bar:
            for told in measure_many(jobs, workers=self.workers, cluster=self.cluster):
                bar.update(1)
                self._busy_s += told.busy_s
                if told.wrong:
                    self.unread += 1
                    click.echo(f"quiethand: {told.wrong}; its figures stay as they are", err=True)
                    continue
                measured = measured_from_json(told.text)
                plan = by_path[told.path]
                if measured.facts.identity != plan.recording.identity:
                    self.unread += 1
                    click.echo(
                        f"quiethand: {told.path}: holds another recording than the one stored; its figures stay as "
                        "they are ('quiethand import' stores the other)",
                        err=True,
                    )
                    continue
                place = self.folder / f"{plan.recording.id}.json"
                place.write_text(told.text)
                self.files.append((plan, place))
                yield from self.store.what_would_change(measured)
        self._wall_s = time.monotonic() - begun

    def told(self) -> str:
        """How much was done, how quickly, and how many cores' worth of work went on at a time."""
        ratio = self._busy_s / self._wall_s if self._wall_s else 0.0
        return (
            f"{len(self.files)} of {len(self.plans)} recordings measured in {self._wall_s:.1f} s, "
            f"{self._busy_s:.1f} s of one core's work: {ratio:.2f} cores at a time"
        )

    def write(self) -> None:
        """Each recording whole, or not at all: interrupted, it can be done again."""
        from quiethand.store.measured import measured_from_json

        for plan, place in self.files:
            if plan.restate:
                self.store.state_setup(plan.recording.identity, plan.job.document)
            self.store.put_measured_again(measured_from_json(place.read_text()))


def _chosen(store: Store, named: tuple[Path, ...], stale: bool) -> list[RecordingRecord]:
    from quiethand.home import within_home
    from quiethand.store.identity import content_sha256

    known = [recording for recording in store.recordings() if recording.state != "growing"]
    if named:
        by_path = {recording.path: recording for recording in known}
        by_sha256 = {recording.sha256: recording for recording in known}
        chosen: dict[int, RecordingRecord] = {}
        for path in named:
            found = by_path.get(within_home(path)) or by_path.get(str(path))
            if found is None and path.is_file():
                found = by_sha256.get(content_sha256(path))
            if found is None:
                raise InputError(
                    "no such recording in the store", where=str(path), do="'quiethand import' puts it there"
                )
            chosen[found.id] = found
        known = list(chosen.values())
    return [recording for recording in known if recording.stale or not stale]


def _plans(
    store: Store, recordings: list[RecordingRecord], stated: dict[str, Any] | None, from_versions: bool
) -> Iterator[Plan]:
    from quiethand.commands.many import Job
    from quiethand.home import whole_path

    for recording in recordings:
        before = store.stated_setup(recording.identity)
        document: Mapping[str, Any] | None = stated
        if from_versions:
            document = _version_for(store, recording)
        restate = document is not None and document != before
        used = before if document is None else dict(document)
        begun = store.remembered_begin(recording.identity)
        job = Job(str(whole_path(recording.path)), used, recording.started_unix_s if begun is None else begun)
        yield Plan(recording, job, restate)


def _version_for(store: Store, recording: RecordingRecord) -> Mapping[str, Any] | None:
    """The set-up that the store has for the archer and bow of a recording's first shot, on its day."""
    from quiethand.store import ShotFilter

    shots = store.shot_rows(ShotFilter(recording_id=recording.id), measures=())
    if not shots:
        return None
    first = shots[-1]
    version = store.setup_in_force(first["archer"], first["bow"], first["day"])
    return None if version is None else version.document


def _wanted(yes: bool, changes: int) -> bool:
    if yes:
        return True
    if not sys.stdin.isatty():
        return False
    return click.confirm(f"Keep the new figures ({changes} shots change)?", default=False)


def _progress(length: int) -> Any:
    if sys.stderr.isatty() and length > 1:
        return click.progressbar(length=length, file=sys.stderr, label="measuring")
    return nullcontext(_Silent())


class _Silent:
    def update(self, _steps: int) -> None:
        pass
