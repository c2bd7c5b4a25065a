"""`quiethand import`: measure recordings and put their shots into the store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.commands.many import Job
    from quiethand.store import Store


@click.command()
@click.argument("recordings", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--setup",
    "setup_file",
    type=click.Path(path_type=Path),
    help="Set-up file (TOML); wins over the recording's, now and when it is measured again.",
)
@click.option("--known", is_flag=True, help="All recordings that were ever imported, and all in your data folder.")
@click.option("--jobs", type=click.IntRange(min=1), metavar="N", help="Processes; else one for each core.")
@click.option(
    "--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else QUIETHAND_STORE or your data folder."
)
def command(
    recordings: tuple[Path, ...], setup_file: Path | None, known: bool, jobs: int | None, store_url: str | None
) -> None:
    """Measure recordings and put their shots into the store. What is there already stays as it is.

    A CSV whose header has right_mm and up_mm (or _cm, _in) is a list of impacts. Each is joined to its shot: by a
    column shot_id (as `export` gives it); by archer, day and number; by archer and time; or, with archer and day alone,
    by the order, if there are as many impacts as shots. All of such a file is stored, or nothing.

    \b
    Examples:
      quiethand import evening.qhr
      quiethand import winter/*.qhr --setup bow.toml
      quiethand import impacts.csv
      quiethand import --known              # after the store was deleted: builds it again

    Exit status: 0 shots are in the store; 1 read, and no shot in any; 2 one can't be read (the others are kept).
    """
    from quiethand.commands.impact_file import looks_like_impacts
    from quiethand.commands.import_impacts import import_impacts
    from quiethand.store import open_store

    if not recordings and not known:
        raise click.UsageError("no recording is named; give files, or --known", click.get_current_context())
    setup = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        setup = read_setup(setup_file)
    store = open_store(store_url)
    impacts = [path for path in recordings if looks_like_impacts(path)]
    paths = [*(p for p in recordings if p not in impacts), *(_known_paths(store) if known else ())]
    shots, unreadable = 0, False
    for path, found, line in import_recordings(store, paths, setup, jobs=jobs):
        shots += found
        unreadable |= found < 0
        click.echo(f"quiethand: {line}" if found < 0 else f"{path}: {line}", err=found < 0)
    for path in impacts:  # their shots may have come just now
        try:
            found, line = import_impacts(store, path)
            shots += found
            click.echo(f"{path}: {line}")
        except InputError as wrong:
            unreadable = True
            click.echo(f"quiethand: {wrong}", err=True)
    store.close()
    if unreadable:
        raise click.exceptions.Exit(2)
    if not shots:
        raise click.exceptions.Exit(1)


def import_recording(store: Store, path: Path, setup: Setup | None = None) -> tuple[int, str]:
    """Measure one recording and store what is in it.

    Returns:
        How many shots it has, and a line that says what was done.

    Raises:
        InputError: it can't be read.
    """
    _path, found, line = next(import_recordings(store, [path], setup))
    if found < 0:
        raise InputError(line)
    return found, line


def import_recordings(
    store: Store, paths: list[Path], setup: Setup | None = None, *, jobs: int | None = None
) -> Iterator[tuple[Path, int, str]]:
    """Measure recordings on all cores and store each whole, in the order in which they are done.

    Yields:
        Its path; how many shots it has, -1 where it can't be read; a line that says what was done, or why it can't.
    """
    from quiethand.commands.many import cores, measure_many
    from quiethand.store.measured import measured_from_json

    at_hand: dict[str, Path] = {}
    to_do: list[Job] = []
    for path in paths:
        try:
            job_or_count = _job(store, path, setup)
        except InputError as wrong:
            yield path, -1, str(wrong)
            continue
        if isinstance(job_or_count, int):
            yield path, job_or_count, f"already there, {job_or_count} shots"
        elif job_or_count.path not in at_hand:
            at_hand[job_or_count.path] = path
            to_do.append(job_or_count)
    workers = min(jobs or cores(), len(to_do))
    for told in measure_many(to_do, workers=workers):
        path = at_hand[told.path]
        if told.wrong:
            yield path, -1, told.wrong
            continue
        measured = measured_from_json(told.text)
        facts = measured.facts
        if setup is not None:
            store.state_setup(facts.identity, setup.document)
        store.remember_recording(facts.identity, facts.path, facts.sha256, facts.started_unix_s)
        # The last: a program killed before it does this recording again, and one killed after it has no need to.
        new, found = store.put_measured(measured), len(measured.shots)
        there = f", {found - new} were there already" if found != new else ""
        yield path, found, f"{found} shots{there}"


def _job(store: Store, path: Path, setup: Setup | None) -> Job | int:
    """What is to be measured, or how many shots of a recording the store has that holds it whole."""
    from quiethand.commands.many import Job
    from quiethand.commands.shelf import read_header
    from quiethand.store import ShotFilter
    from quiethand.store.identity import content_sha256, identity_of

    try:
        sha256, header = content_sha256(path), read_header(path)
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})", where=str(path), do="check the name") from None
    held = store.recording_by_sha256(sha256)
    if held is not None:
        return store.shot_count(ShotFilter(recording_id=held))
    identity = identity_of(header, sha256)
    document: Any = setup.document if setup is not None else store.stated_setup(identity)
    return Job(str(path.absolute()), None if document is None else dict(document), store.remembered_begin(identity))


def _known_paths(store: Store) -> Iterator[Path]:
    """What was imported before, and whatever else lies in the folder of recordings."""
    from quiethand.home import home, whole_path

    seen = set()
    in_folder = sorted((home() / "recordings").glob("*.qhr"))
    for path in (*(whole_path(stored) for stored in store.remembered_paths()), *in_folder):
        if path not in seen:
            seen.add(path)
            yield path
