"""`quiethand group`: where an archer's arrows hit, how far apart, and how much of it the bow's motion explains."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.judge.explained import Explained
    from quiethand.judge.group import Scores
    from quiethand.store import Impact, ShotFilter, Store

MOTION: Final = ("pointing_right_mm", "pointing_up_mm", "rate_yaw_deg_s", "rate_pitch_deg_s")


@click.command()
@click.argument("shots")
@click.option("--format", "form", type=click.Choice(["table", "json"]), default="table", show_default=True)
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(shots: str, form: str, store_url: str | None) -> None:
    """The group of an archer's impacts: centre, spread, shape, score, and what the bow's motion explains of it.

    SHOTS is as in "archer=Lane 4 arrow=Slow day=2026-01-10..2026-02-01"; words: archer, bow, arrow, day, tag, face.
    Intervals are 95 %. Impacts of excluded shots are left out.

    \b
    Examples:
      quiethand group "archer=Lane 4"
      quiethand group "archer=Lane 4 day=2026-01-10" --format json
    """
    from quiethand.bow.faces import FACES
    from quiethand.commands.chosen import chosen_shots, filter_of
    from quiethand.judge.group import group, scores
    from quiethand.judge.group_words import group_words
    from quiethand.store import open_store

    wanted = filter_of(shots, "SHOTS")
    if wanted.archer is None:
        raise InputError("a group is one archer's", where="SHOTS", do='name one, as in "archer=Lane 4"')
    store = open_store(store_url)
    try:
        chosen = chosen_shots(store, wanted, list(MOTION))
        impacts = _impacts(store, wanted, {row["id"] for row in chosen.rows})
    finally:
        store.close()
    if not impacts:
        raise InputError(f'no impact fits "{shots}"', where="SHOTS", do="enter impacts on the page or import them")
    right, up = [i.right_mm for i in impacts], [i.up_mm for i in impacts]
    found = group(right, up)
    faces = {i.face for i in impacts if i.face}
    face = FACES.get(next(iter(faces))) if len(faces) == 1 else None
    scored = scores(face, right, up, shaft_mm=[i.diameter_mm for i in impacts]) if face else None
    told, why_not = _explained(impacts, {row["id"]: row for row in chosen.rows})
    free = sum(i.shot_id is None for i in impacts)
    if form == "json":
        from quiethand import __version__

        made = {
            "schema": 1, "software": f"quiethand {__version__}", "excluded": chosen.excluded, "without_shot": free,
            "group": asdict(found), "scores": asdict(scored) if scored else None, "explained": _object(told),
            "not_explained_because": why_not,
        }  # fmt: skip
        click.echo(json.dumps(made, indent=1, ensure_ascii=False))
        return
    click.echo("\n".join([*group_words(found), *_score_words(scored, len(faces))]))
    if told is not None:
        from quiethand.judge.explained import explained_words

        click.echo("\n".join(explained_words(told)))
    else:
        click.echo(f"How much of it the bow's motion explains: {why_not}.")
    if free:
        click.echo(f"{free} of the impacts belong to no shot.")
    if chosen.excluded:
        click.echo(f"Left out because someone excluded them: {chosen.excluded} shots.")


def _impacts(store: Store, wanted: ShotFilter, shown: set[int]) -> list[Impact]:
    """Of the shots that fit, and those without a shot where nothing is asked that only a shot knows; oldest first."""
    from quiethand.commands.chosen import MOST
    from quiethand.store import ShotFilter

    found = [i for i in store.impacts(wanted, free=False, limit=MOST) if i.shot_id in shown]
    if wanted.of_shot_alone() == ShotFilter():
        found += store.impacts(wanted, free=True, limit=MOST)
    return sorted(found, key=lambda i: (i.unix_s, i.id))


def _explained(impacts: list[Impact], rows: dict[int, dict[str, Any]]) -> tuple[Explained | None, str | None]:
    """What the bow's motion explains, or why that cannot be told."""
    import numpy as np

    from quiethand.judge.explained import explained, why_not_explained

    whole = [
        [i.right_mm, i.up_mm, *(rows[i.shot_id][name] for name in MOTION)]
        for i in impacts
        if i.shot_id is not None and all(rows[i.shot_id][name] is not None for name in MOTION)
    ]
    why = why_not_explained(len(whole))
    if why is not None:
        return None, why
    figures = np.array(whole, dtype=np.float64)
    try:
        return explained(figures[:, :2], figures[:, 2:4], figures[:, 4:]), None
    except InputError as wrong:
        return None, wrong.what


def _score_words(scored: Scores | None, faces: int) -> tuple[str, ...]:
    from quiethand.judge.group_words import score_words

    if scored is not None:
        return score_words(scored)
    if faces > 1:
        return (f"No score: {faces} faces were shot at.",)
    return ("No score: none of the faces that are known is stated.",)


def _object(told: Explained | None) -> dict[str, Any] | None:
    """Its figures by name; the fits' arrays are left out."""
    if told is None:
        return None
    names = ("shots", "share", "adjusted", "cross_validated", "low", "high", "p_value", "by_chance", "shown")
    return {name: getattr(told, name) for name in names}
