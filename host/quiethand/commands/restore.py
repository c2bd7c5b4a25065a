"""`quiethand restore`: a backup back into a store."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    import zipfile

    from quiethand.store.backup import BackupFacts


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--check", "check_only", is_flag=True, help="Only say whether the backup is whole.")
@click.option("--force", is_flag=True, help="Also into a store that holds something; a copy of it is kept.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(file: Path, check_only: bool, force: bool, store_url: str | None) -> None:
    """Put a backup into the place of a store (SQLite or PostgreSQL), once it is known to be whole.

    What was typed after the backup was made is kept. Recordings in it go where they lay in the data folder, or into its
    folder "recordings"; a file that is there already is never replaced.

    \b
    Examples:
      quiethand restore winter.zip --check
      quiethand restore winter.zip --store postgresql+psycopg://coach@club/shots
    """
    from quiethand.commands.backup import facts_in_words
    from quiethand.store import open_store
    from quiethand.store.backup import unpacked
    from quiethand.store.restoring import restore_database, set_paths

    with unpacked(file) as (facts, archive, database):
        if check_only:
            click.echo(f"{file}: whole: {facts_in_words(facts)}")
            return
        store = open_store(store_url)
        aside = restore_database(database, store, force=force)
        set_paths(store, _put_recordings(facts, archive))
        store.close()
    if aside is not None:
        click.echo(f"what was there before is kept in {aside}")
    click.echo(f"{file}: restored: {facts_in_words(facts)}")


def _put_recordings(facts: BackupFacts, archive: zipfile.ZipFile) -> dict[str, str]:
    """Write what is not there yet. Returns new paths by the ones stored, of those that had to go elsewhere."""
    from quiethand.home import home, with_folder, within_home
    from quiethand.store.backup import same_content, take_out

    moved = {}
    for kept in facts.recordings:
        if kept.member is None:
            continue
        stored = PurePosixPath(kept.path)
        inside = not stored.is_absolute() and ".." not in stored.parts and not Path(kept.path).is_absolute()
        target = home() / (kept.path if inside else f"recordings/{stored.name}")
        if same_content(Path(kept.path), kept.sha256) and not inside:
            continue  # it still lies where it lay
        if not same_content(target, kept.sha256):
            while target.exists():
                target = target.with_stem(target.stem + "-restored")
            take_out(archive, kept.member, with_folder(target))
        if within_home(target) != kept.path:
            moved[kept.path] = within_home(target)
    return moved
