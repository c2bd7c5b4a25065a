"""`quiethand export`: shots or samples as CSV, JSON or Parquet, for spreadsheets, notebooks and other programs."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.commands.export_files import Columns, Form, Kind
    from quiethand.notebook.sources import Wanted

_ENDINGS: Final = {".csv": "csv", ".json": "json", ".parquet": "parquet"}
_BATCH: Final = 100_000  # samples written at once
# What a shot's window is here: as its trace, from before the release to after it.
_BEFORE_S: Final = 0.1
_AFTER_S: Final = 0.3


@click.command()
@click.argument("recordings", nargs=-1, type=click.Path(allow_dash=True))
@click.option("--out", default="-", help="Where to write it; its ending says the format. Without: standard output.")
@click.option("--format", "form", type=click.Choice(["csv", "json", "parquet"]), help="Where no ending says it: csv.")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@click.option("--archer", help="Only this archer's shots, as the set-up names them.")
@click.option("--bow", help="Only with this bow.")
@click.option("--arrow", help="Only with this arrow.")
@click.option("--since", metavar="DAY", help="Only from this day on, as in 2026-11-25, or today, or yesterday.")
@click.option("--until", metavar="DAY", help="Only up to this day, it included.")
@click.option("--tag", help="Only shots with this tag (store).")
@click.option("--samples", is_flag=True, help="A row a sample in place of a row a shot; of one recording.")
@click.option("--shot", "number", type=int, help="With --samples: only from 0.1 s before this shot to 0.3 s after.")
@click.option("--setup", "setup_file", type=click.Path(), help="Set-up file (TOML); wins over a recording's own.")
@click.option("--setup-out", help="With --samples: also write the set-up with which the samples measure as before.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(
    recordings: tuple[str, ...], out: str, form: str | None, force: bool, samples: bool, number: int | None,
    setup_file: str | None, setup_out: str | None, store_url: str | None, **asked: str | None,
) -> None:  # fmt: skip
    """Shots (a row a shot: every measure with its unit in the column's name and its standard uncertainty beside it) or
    samples (a row a sample, in the bow frame, calibrated) as CSV, JSON or Parquet.

    Shots come from the recordings named, measured now, or from the store where none is named. Samples have the columns
    that `analyse` reads; in CSV yes and no are 1 and 0, and what is not known is empty.

    \b
    Examples:
      quiethand export --out shots.csv --archer "Lane 4" --since 2026-11-01
      quiethand export evening.qhr --format json
      quiethand export evening.qhr --samples --out evening.csv --setup-out evening.toml

    Exit status: 0 written; 1 no shot fits, and nothing was written; 2 cannot be read or written.
    """
    from quiethand.commands.whole_file import refuse_overwriting
    from quiethand.notebook.sources import setup_of, wanted_shots

    wanted = wanted_shots(**asked)
    chosen = _form(out, form)
    _refuse_what_does_not_go_together(recordings, samples, number, setup_file, setup_out, store_url, asked)
    for path in (out, setup_out):
        if path is not None and path != "-":
            refuse_overwriting(path, force=force)
    setup = setup_of(setup_file)
    if samples:
        count = _export_samples(recordings[0], setup, number, chosen, out, setup_out, force=force)
        what = "samples"
    else:
        count = _export_shots(recordings, setup, wanted, store_url, chosen, out, force=force)
        what = "shots"
    if not count:
        click.echo(f"quiethand: no {what[:-1]} fits; nothing was written", err=True)
        raise click.exceptions.Exit(1)
    if out != "-":
        click.echo(f"{out}: {count:,} {what if count > 1 else what[:-1]}")


def _form(out: str, form: str | None) -> Form:
    ending = Path(out).suffix.lower()
    if form is None and out != "-" and ending not in _ENDINGS:
        raise InputError("its ending says no format", where=out, do="add --format csv, json or parquet")
    chosen = form or _ENDINGS.get(ending, "csv")
    if chosen == "parquet" and out == "-" and sys.stdout.isatty():
        raise InputError("Parquet is not for a terminal", do="name a file with --out, as in --out shots.parquet")
    return cast("Form", chosen)


def _refuse_what_does_not_go_together(
    recordings: tuple[str, ...], samples: bool, number: int | None, setup_file: str | None, setup_out: str | None,
    store_url: str | None, asked: dict[str, str | None],
) -> None:  # fmt: skip
    given = [f"--{name}" for name, value in asked.items() if value is not None]
    if samples:
        if len(recordings) != 1:
            raise click.UsageError("--samples takes one recording", click.get_current_context())
        if given or store_url:
            raise click.UsageError(f"{(given or ['--store'])[0]} is for shots", click.get_current_context())
        return
    for name, value in (("--shot", number), ("--setup-out", setup_out)):
        if value is not None:
            raise click.UsageError(f"{name} is for --samples", click.get_current_context())
    if recordings and (store_url or asked["tag"]):
        raise click.UsageError("name recordings or a store, not both", click.get_current_context())
    if setup_file and not recordings:
        raise click.UsageError(
            "a stored shot has its own set-up: --setup is for recordings", click.get_current_context()
        )


def _export_shots(
    recordings: tuple[str, ...], setup: Setup | None, wanted: Wanted, store_url: str | None, form: Form, out: str, *,
    force: bool,
) -> int:  # fmt: skip
    pages = list(_measured(recordings, setup, wanted) if recordings else _stored(store_url, wanted))
    count = sum(len(page["number"]) for page in pages)
    if count:
        _write(form, _shot_kinds(), iter(pages), out, force=force)
    return count


def _measured(recordings: tuple[str, ...], setup: Setup | None, wanted: Wanted) -> Iterator[Columns]:
    from quiethand.notebook.face import measured_rows

    for path in recordings:
        yield _columns([row for row in measured_rows(path, setup) if wanted.holds(row)])


def _stored(store_url: str | None, wanted: Wanted) -> Iterator[Columns]:
    """The oldest first: the pages come from the store the other way round."""
    from quiethand.notebook.shot_rows import store_pages
    from quiethand.notebook.sources import opened_store

    with opened_store(store_url) as store:
        pages = [_columns(page[::-1]) for page in store_pages(store, wanted.in_store(store))]
    yield from reversed(pages)


def _shot_kinds() -> dict[str, Kind]:
    from quiethand.notebook.shot_rows import SHOT_COLUMNS

    kinds: dict[str, Kind] = {
        "shot_id": "integer", "number": "integer", "time_utc": "time", "excluded": "boolean", "stale": "boolean",
    }  # fmt: skip
    words = (
        "recording",
        "day",
        "archer",
        "bow",
        "arrow",
        "departure_from",
        "flags",
        "notes",
        "face",
        "tags",
        "software",
    )
    kinds |= dict.fromkeys(words, "text")
    return {name: kinds.get(name, "float") for name in SHOT_COLUMNS}


def _columns(rows: list[dict[str, Any]]) -> Columns:
    """Numbers as arrays: a list of boxed ones would take four times the memory."""
    import numpy as np

    columns: dict[str, Any] = {}
    for name, kind in _shot_kinds().items():
        values = [row[name] for row in rows]
        columns[name] = np.array(values, dtype=np.float64) if kind == "float" else values
    return columns


def _export_samples(
    path: str, setup: Setup | None, number: int | None, form: Form, out: str, setup_out: str | None, *, force: bool
) -> int:
    from quiethand.commands.whole_file import whole_file
    from quiethand.link.files import open_motion
    from quiethand.notebook.samples import batches, setup_for_samples, within

    span = (None, None) if number is None else _window(path, setup, number)
    found = batches(within(open_motion(path, setup), *span), _BATCH)
    first = next(found, None)
    if first is None:
        return 0
    count, last = 0, first[0][-1]

    def pages() -> Iterator[Columns]:
        nonlocal count, last
        for blocks, columns in itertools.chain([first], found):
            count, last = count + sum(map(len, blocks)), blocks[-1]
            yield columns

    _write(form, _sample_kinds(), pages(), out, force=force)
    if setup_out is not None:
        import tomlkit

        with whole_file(setup_out, force=force) as file:
            file.write(tomlkit.dumps(setup_for_samples(last)).encode())
    return count


def _sample_kinds() -> dict[str, Kind]:
    from quiethand.notebook.samples import SAMPLE_COLUMNS

    kinds: dict[str, Kind] = {
        "t_s": "float", "segment": "integer", "sample": "integer",
        "accel_clipped": "boolean", "gyro_clipped": "boolean",
    }  # fmt: skip
    return {name: kinds.get(name, "short") for name in SAMPLE_COLUMNS}


def _window(path: str, setup: Setup | None, number: int) -> tuple[float, float]:
    from quiethand.analysis import analyse_path

    if path == "-":
        raise InputError("standard input can be read only once", where="--shot", do="name a file")
    shots = analyse_path(path, setup, traces=False).shots
    for shot in shots:
        if shot.number == number:
            at_s = shot.departure_s if shot.release_s is None else shot.release_s
            return at_s - _BEFORE_S, at_s + _AFTER_S
    numbers = ", ".join(str(shot.number) for shot in shots) or "none"
    raise InputError(f"no shot {number}", where=path, do=f"there are: {numbers}")


def _write(form: Form, kinds: dict[str, Kind], pages: Iterator[Columns], out: str, *, force: bool) -> None:
    import os

    from quiethand.commands.export_files import write_pages
    from quiethand.commands.whole_file import whole_file

    try:
        with whole_file(out, force=force) as file:
            write_pages(form, kinds, pages, file)
    except BrokenPipeError:
        # Whoever read it has seen enough, as `head` has. What Python would flush at its end goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise click.exceptions.Exit(0) from None
