"""`quiethand import`: measure recordings and put their shots into the store."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.store import Store


@click.command()
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--setup",
    "setup_file",
    type=click.Path(path_type=Path),
    help="Set-up file (TOML); wins over the recording's.",
)
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(recordings: tuple[Path, ...], setup_file: Path | None, store_url: str | None) -> None:
    """Measure recordings and put their shots into the store. What is there already stays as it is.

    \b
    Examples:
      quiethand import evening.qhr
      quiethand import winter/*.qhr --setup bow.toml

    Exit status: 0 shots are in the store; 1 read, and no shot in any; 2 one can't be read (the others are kept).
    """
    from quiethand.store import open_store

    setup = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        setup = read_setup(setup_file)
    store = open_store(store_url)
    shots = 0
    unreadable = False
    for path in recordings:
        try:
            found, line = import_recording(store, path, setup)
        except InputError as wrong:
            click.echo(f"quiethand: {wrong}", err=True)
            unreadable = True
            continue
        shots += found
        click.echo(f"{path}: {line}")
    if unreadable:
        raise click.exceptions.Exit(2)
    if not shots:
        raise click.exceptions.Exit(1)


def import_recording(store: Store, path: Path, setup: Setup | None = None) -> tuple[int, str]:
    """Measure one recording and store what is in it.

    Returns:
        How many shots of it the store holds now, and a line that says what was done.

    Raises:
        InputError: it can't be read.
    """
    from quiethand.analysis import ShotFollower
    from quiethand.commands.shelf import Shelf
    from quiethand.link.files import open_motion
    from quiethand.store import ShotFilter
    from quiethand.store.identity import content_sha256

    try:
        known = store.recording_by_sha256(content_sha256(path))
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})", where=str(path), do="check the name") from None
    if known is not None:
        held = store.shot_count(ShotFilter(recording_id=known))
        return held, f"already there, {held} shots"
    source = open_motion(str(path), setup)
    follower = ShotFollower(setup, source.facts)
    shelf = Shelf(store, path, growing=False)
    found = 0
    for block in source:
        before = follower.setup
        results = follower.follow(block)
        found += sum(hasattr(result, "number") for result in results)
        shelf.put(results, before if before is not None else follower.setup, source.facts)
    results = follower.finish()
    found += sum(hasattr(result, "number") for result in results)
    shelf.put(results, follower.setup, source.facts)
    shelf.close(source.facts, (*source.facts.notes, *follower.notes))
    known_before = f", {found - shelf.added} were there already" if found != shelf.added else ""
    return found, f"{found} shots{known_before}"
