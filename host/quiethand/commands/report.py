"""`quiethand report`: an archer's span of days as one page to read, print and keep."""

from __future__ import annotations

import click

from quiethand.errors import InputError


@click.command()
@click.option("--archer", help="Whose, as the set-up names them; needed where the store holds several.")
@click.option("--since", metavar="DAY", help="The first day, as in 2026-11-01; without: the first with a shot.")
@click.option("--until", metavar="DAY", help="The last day, it included; without: the last with a shot.")
@click.option("--out", default="report.html", show_default=True, help="Where to write it; - for standard output.")
@click.option("--force", is_flag=True, help="Overwrite the file if it is there.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(
    archer: str | None, since: str | None, until: str | None, out: str, force: bool, store_url: str | None
) -> None:
    """A report for an archer and a span of days: what is usual, what changed, where the arrows hit, how surely, and the
    cautions. One HTML file that needs nothing from outside and prints to two A4 pages.

    \b
    Examples:
      quiethand report --archer "Lane 4"
      quiethand report --archer "Lane 4" --since 2026-11-01 --out november.html

    Exit status: 0 written; 2 no such archer or days, or it cannot be written.
    """
    from datetime import date

    from quiethand.analysis import software
    from quiethand.commands.whole_file import refuse_overwriting, whole_file
    from quiethand.notebook.sources import opened_store, wanted_shots
    from quiethand.report.gathered import gather
    from quiethand.report.page import render
    from quiethand.report.said import day_words

    if out != "-":
        refuse_overwriting(out, force=force)
    wanted = wanted_shots(archer=archer, since=since, until=until)
    with opened_store(store_url) as store:
        wanted.in_store(store)  # an archer that it does not know is refused, with the nearest that it does
        if archer is None:
            archers = store.archers()
            if len(archers) != 1:
                known = ", ".join(f'"{name}"' for name in archers[:20])
                raise InputError(
                    f"the store holds shots of {len(archers)} archers" if archers else "the store holds no shots",
                    do=f"say whose with --archer: {known}" if archers else "bring some in with 'quiethand import'",
                )
            archer = archers[0]
        gathered = gather(store, archer, wanted.day_from, wanted.day_to)
        page = render(gathered, made=day_words(date.today().isoformat()), software=software())
    with whole_file(out, force=force) as file:
        file.write(page.encode("utf-8", "replace"))
    if out != "-":
        click.echo(f"{out}: {gathered.shots} shots of {archer or 'an archer without a name'}")
