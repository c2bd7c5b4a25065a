"""`quiethand setup`: write an annotated set-up file to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from quiethand.errors import InputError


@click.command()
@click.option(
    "--kind", type=click.Choice(["compound", "recurve"]), default="compound", show_default=True, help="The kind of bow."
)
@click.option("--out", type=click.Path(), help="Where to write it; without, it is printed.")
@click.option("--force", is_flag=True, help="Overwrite the file if it is there.")
def command(kind: Literal["compound", "recurve"], out: str | None, force: bool) -> None:
    """Write an annotated set-up file: every key with what it is and how to measure it.

    \b
    Examples:
      quiethand setup --out bow.toml
      quiethand setup --kind recurve > bow.toml
    """
    from quiethand.bow.cautions import STANDING
    from quiethand.bow.template import template

    text = template(kind, STANDING)
    if out is None:
        click.echo(text, nl=False)
        return
    path = Path(out)
    if path.is_dir():
        raise InputError("is a folder", where=out, do=f"name a file, as in {path / 'bow.toml'}")
    try:
        with path.open("w" if force else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as there:
        raise InputError("is there already", where=out, do="choose another name, or add --force") from there
    except (OSError, ValueError) as trouble:
        why = getattr(trouble, "strerror", None) or str(trouble)
        raise InputError(f"cannot be written ({why})", where=out, do="choose another place") from trouble
    click.echo(f"{out}: written; fill it in, then try 'quiethand launch --setup {out}'")
