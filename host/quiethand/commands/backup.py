"""`quiethand backup`: the store in one file, checked."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.store import Store
    from quiethand.store.backup import BackupFacts
    from quiethand.store.records import RecordingRecord


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--recordings", "with_recordings", is_flag=True, help="The recordings too, not their hashes alone.")
@click.option("--force", is_flag=True, help="Replace a file of that name.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(file: Path, with_recordings: bool, force: bool, store_url: str | None) -> None:
    """Write the store (SQLite or PostgreSQL) into one zip and check that it comes back. It may be in use meanwhile.

    Recordings that are not where they were, or are not what was imported, are named on standard error.

    \b
    Examples:
      quiethand backup winter.zip --recordings
      quiethand restore winter.zip --check
    """
    from quiethand.analysis import software
    from quiethand.store import open_store
    from quiethand.store.backup import write_backup

    if file.exists() and not force:
        raise InputError("is there already", where=str(file), do="choose another name, or --force replaces it")
    store = open_store(store_url)
    facts = write_backup(store, file, _recordings(store, with_recordings), software())
    store.close()
    click.echo(f"{file}: {facts_in_words(facts)}; read back and whole")


def facts_in_words(facts: BackupFacts) -> str:
    held = sum(kept.member is not None for kept in facts.recordings)
    return (
        f"{facts.counts['shots']} shots of {len(facts.recordings)} recordings ({held} of these in it), "
        f"{facts.counts['typed']} things typed, made {facts.created} by {facts.software}"
    )


def _recordings(store: Store, wanted: bool) -> Iterator[tuple[RecordingRecord, Path | None]]:
    from quiethand.home import whole_path
    from quiethand.store.backup import same_content

    for recording in store.recordings():
        path = whole_path(recording.path)
        sound = same_content(path, recording.sha256)
        if not sound and recording.state != "growing":
            why = "is not what was imported" if path.exists() else "is not there"
            click.echo(f"quiethand: {path}: {why}; the backup has its figures, not the recording", err=True)
        yield recording, path if wanted and sound else None
