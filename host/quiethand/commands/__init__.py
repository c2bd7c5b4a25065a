"""The command line: one file for each verb. Each imports what it needs when it runs, so that start-up stays short."""

from __future__ import annotations

import difflib
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Final

import click

from quiethand import __version__
from quiethand.errors import QuiethandError

__all__ = ["VERBS", "cli", "main"]

# verb: (module, what it does in a line). Listed here so that help needs no import of any of them.
VERBS: Final = {
    "demo": ("demo", "Watch a sensor in software shoot, be measured and be judged, with some weeks of history."),
    "analyse": ("analyse", "Find and measure the shots in recordings."),
    "why": ("why", "How one figure of a shot came about, and what would halve its uncertainty."),
    "check": ("check", "Say whether a recording is whole, damaged or empty."),
    "record": ("record", "Record a sensor's bytes to a file."),
    "live": ("live", "Record and show each shot on the page as it comes."),
    "dashboard": ("dashboard", "Show what is stored on a page in the browser."),
    "import": ("import_", "Measure recordings and put their shots into the store."),
    "reanalyse": ("reanalyse", "Measure stored recordings again; shows what moves before it is kept."),
    "backup": ("backup", "Write the store into one file and check it."),
    "restore": ("restore", "Put a backup into the place of a store."),
    "export": ("export", "Shots or samples as CSV, JSON or Parquet."),
    "report": ("report", "An archer's span of days as one page to read, print and keep."),
    "compare": ("compare", "Two sets of stored shots: what differs, how surely, and what they could show."),
    "group": ("group", "Where an archer's arrows hit, how far apart, and what the bow's motion explains of it."),
    "arrows": ("arrows", "An archer's arrows: time on the string, and the hand's torque with each at the target."),
    "launch": ("launch", "What the bow should do: time on the string, speed, energies, sensitivity."),
    "setup": ("setup", "Write an annotated set-up file to start from."),
    "calibrate": ("calibrate", "Bias, faces, mount and inertia from recordings on a kitchen table, into the set-up."),
    "noise": ("noise", "A still sensor's Allan deviation, against what shots' uncertainties assume."),
    "link": ("link", "The health of a link, or a check of a device against the wire format (--check)."),
    "emulate": ("emulate", "A sensor and an archer in software, on a pty or a TCP port."),
    "ports": ("ports", "List serial ports and what is known of each."),
}

# Parts of other verbs that run as processes of their own; no help lists them.
INTERNAL: Final = {
    "follow": ("follow", "Measure a recording while it grows."),
    "demo-history": ("demo_history", "Make the earlier weeks of the demo."),
}


class LazyVerbs(click.Group):
    """A group whose commands are imported only when one is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        known = VERBS | INTERNAL
        if cmd_name not in known:
            return None
        command: click.Command = importlib.import_module(f"quiethand.commands.{known[cmd_name][0]}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in VERBS | INTERNAL and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], VERBS, n=1)
            hint = f"did you mean {near[0]!r}?" if near else "see 'quiethand --help'"
            raise click.UsageError(f"no verb {args[0]!r}; {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Verbs"):
            formatter.write_dl([(verb, line) for verb, (_, line) in VERBS.items()])


@click.group(cls=LazyVerbs, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, prog_name="quiethand")
def cli() -> None:
    """See what a bow did in the hand while the arrow was still on the string.

    Never shoot without an arrow on the string; the maker's limits, the range's rules and a coach come first.
    """


def main(args: Sequence[str] | None = None) -> None:
    """Run the command line; every error that a user can mend is one line on stderr and exit status 2."""
    # Set before numpy is imported: the matrices here are small, and handing them to threads costs more than it saves.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        status = cli.main(args=args, prog_name="quiethand", standalone_mode=False)
    except click.exceptions.Exit as stop:
        status = stop.exit_code
    except click.UsageError as wrong:
        where = f" (see '{wrong.ctx.command_path} --help')" if wrong.ctx else ""
        click.echo(f"quiethand: {wrong.format_message()}{where}", err=True)
        status = 2
    except click.ClickException as wrong:
        click.echo(f"quiethand: {wrong.format_message()}", err=True)
        status = 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("quiethand: stopped", err=True)
        status = 130
    except QuiethandError as wrong:
        click.echo(f"quiethand: {wrong}", err=True)
        status = 2
    sys.exit(status if isinstance(status, int) else 0)
