"""`quiethand compare`: two sets of stored shots, measure by measure, and what so few shots could show."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.judge.comparison import Comparison
    from quiethand.store import Store

USUAL: Final = (
    "rotation_yaw", "rotation_pitch", "rotation_cant", "pointing_right", "pointing_up", "pressed_yaw", "carried_in_yaw",
    "mean_torque_yaw", "time_on_string",
)  # fmt: skip


@click.command()
@click.option("--a", "first", required=True, help='The first set, as in "archer=Lane 4 arrow=Slow day=2026-01-10".')
@click.option(
    "--b", "second", required=True, help="The second set. Words: archer, bow, arrow, day (or from..to), tag, face."
)
@click.option("--measure", "measures", multiple=True, help="A measure, as in rotation_yaw; may be given again.")
@click.option("--paired", is_flag=True, help="Shot by shot in order of time; both sets need as many shots.")
@click.option("--trimmed", is_flag=True, help="Means without the highest and lowest fifth.")
@click.option("--format", "form", type=click.Choice(["table", "json"]), default="table", show_default=True)
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(
    first: str, second: str, measures: tuple[str, ...], paired: bool, trimmed: bool, form: str, store_url: str | None
) -> None:
    """Compare two sets of stored shots: differences with 95 % intervals, a permutation test, the size at the target.

    Before each comparison stands the smallest difference that these shots could show. Excluded shots are left out.

    \b
    Examples:
      quiethand compare --a "archer=Lane 4 arrow=Match arrow" --b "archer=Lane 4 arrow=Heavy practice arrow"
      quiethand compare --a "archer=Lane 4 day=2026-01-10" --b "archer=Lane 4 day=2026-02-01" --measure rotation_yaw
    """
    from quiethand.commands.chosen import chosen_shots, filter_of
    from quiethand.judge.comparison import compare_many
    from quiethand.judge.comparison_words import could_show_words, excluded_words, in_words
    from quiethand.shots.measures_table import measure_named
    from quiethand.store import open_store

    wanted = filter_of(first, "--a"), filter_of(second, "--b")
    named = [measure_named(name) for name in measures or USUAL]
    columns = {row.column(axis): (row, axis) for row, axis in named}
    store = open_store(store_url)
    try:
        a, b = (chosen_shots(store, one, list(columns)) for one in wanted)
        for text, chosen, where in ((first, a, "--a"), (second, b, "--b")):
            if not chosen.rows:
                raise InputError(f'no shot fits "{text}"', where=where, do="see the names with quiethand dashboard")
        targets = _targets(store, [*a.rows, *b.rows], list(columns))
    finally:
        store.close()
    sets = {name: ([r[name] for r in a.rows], [r[name] for r in b.rows]) for name in columns}
    found, refused = compare_many(
        sets, units={name: row.unit for name, (row, _) in columns.items()}, targets=targets, paired=paired,
        centre="trimmed" if trimmed else "mean",
    )  # fmt: skip
    if not found and measures:
        raise InputError(next(iter(refused.values())))
    excluded = excluded_words(a.excluded, b.excluded)
    if form == "json":
        click.echo(json.dumps(_object(found, refused, a.excluded, b.excluded), indent=1, ensure_ascii=False))
        return
    lines = [excluded] if excluded else []
    for each in found:
        row, axis = columns[each.measure]
        side = axis or {"pointing_right": "right", "pointing_up": "up"}.get(row.name)
        signed = side if row.unit in ("deg", "deg/s", "N m", "N m s", "mm") and row.name != "peak_rate" else None
        name = f"{row.label}, {axis}" if axis else row.label
        lines += [
            "",
            could_show_words(each.could_show, each.unit, paired=paired),
            *in_words(each, name=name, axis=signed),
        ]
    lines += ["", *(f"{name}: {why}" for name, why in refused.items())] if refused else []
    click.echo("\n".join(lines).strip())


def _targets(store: Store, rows: list[dict[str, Any]], columns: list[str]) -> dict[str, Any]:
    """What a unit comes to at the target, where all shots were shot at one distance."""
    from quiethand.bow.setup_file import setup_from_document
    from quiethand.judge.at_target import at_target

    distances = set()
    for setup_id in {row["setup_id"] for row in rows}:
        document = store.setup_document(setup_id)
        distances.add(setup_from_document(document, "store").target.distance_m if document else None)
    distance = distances.pop() if len(distances) == 1 else None
    return {name: at_target(name, distance_m=distance) for name in columns}


def _object(found: list[Comparison], refused: dict[str, str], a: int, b: int) -> dict[str, Any]:
    from quiethand import __version__

    return {
        "schema": 1,
        "software": f"quiethand {__version__}",
        "excluded": {"a": a, "b": b},
        "comparisons": [
            {**asdict(one), "shown": one.shown, "shots_for_half_of_it": one.shots_for(one.could_show.smallest / 2)}
            for one in found
        ],
        "refused": refused,
    }
