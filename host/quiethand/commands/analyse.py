"""`quiethand analyse`: find and measure the shots in recordings."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from quiethand.bow.model import Setup


@click.command()
@click.argument("inputs", nargs=-1, type=click.Path(allow_dash=True))
@click.option("--setup", "setup_file", type=click.Path(), help="Set-up file (TOML); wins over what a recording states.")
@click.option(
    "--format", "form", type=click.Choice(["table", "json", "csv"]), default="table", show_default=True,
    help="json: one object per input, a line each when there are several.",
)  # fmt: skip
@click.option("--budget", is_flag=True, help="Also print what each shot's uncertainty is made of.")
@click.option("--json-schema", is_flag=True, help="Print the JSON Schema that the JSON output follows, and stop.")
def command(inputs: tuple[str, ...], setup_file: str | None, form: str, budget: bool, json_schema: bool) -> None:
    """Find the shots in recordings (.qhr, raw captures, text mode, CSV; - for standard input) and measure them.

    \b
    Examples:
      quiethand analyse evening.qhr
      quiethand analyse evening.qhr --setup bow.toml --budget
      quiethand analyse log.csv --setup bow.toml --format json

    Exit status: 0 shots found; 1 read, and no shot in it; 2 cannot be read.
    """
    if json_schema:
        from quiethand.shots.contract import json_schema as schema

        click.echo(json.dumps(schema(), indent=1))
        return
    if not inputs:
        raise click.UsageError("name a recording to analyse", click.get_current_context())
    from quiethand.analysis import analyse_path

    setup = _read_setup(setup_file)
    reports = [analyse_path(name, setup, traces=False) for name in inputs]
    if form == "json":
        indent = 1 if len(reports) == 1 else None
        out = sys.stdout
        for report in reports:
            # Written as it is made: the pieces of one long string would take more memory than all the analysis.
            json.dump(report.contract(), out, indent=indent, allow_nan=False, ensure_ascii=False)
            out.write("\n")
    elif form == "csv":
        click.echo(shots_csv([report.contract() for report in reports]), nl=False)
    else:
        from quiethand.commands.shot_table import print_report

        for report in reports:
            print_report(report, budget=budget)
    if not any(report.shots for report in reports):
        sys.exit(1)


def _read_setup(path: str | None) -> Setup | None:
    if path is None:
        return None
    from quiethand.bow.setup_file import read_setup

    return read_setup(Path(path))


def flat(value: object, name: str = "") -> dict[str, Any]:
    """A shot's object as one row: nested names joined by an underscore; lists of objects are left to JSON."""
    if isinstance(value, dict):
        row: dict[str, Any] = {}
        for key, inner in value.items():
            row |= flat(inner, f"{name}_{key}" if name else str(key))
        return row
    if isinstance(value, list):
        if name == "after_release":
            return {f"rotation_{at['ms']:g}_ms_deg_{axis}": v for at in value for axis, v in at["rotation_deg"].items()}
        if name == "flags":
            return {"flags": "; ".join(flag["text"] for flag in value)}
        if name == "notes":
            return {"notes": "; ".join(value)}
        return {}
    return {name: value}


def shots_csv(contracts: list[dict[str, Any]]) -> str:
    """One row a shot, a header whose names carry the units; what is not known is empty."""
    rows = [{"input": c["input"], **flat(shot)} for c in contracts for shot in c["shots"]]
    if not rows:
        return ""
    names = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
