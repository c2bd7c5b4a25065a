"""`quiethand live`: record, and show each shot on the page as it comes."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from quiethand.home import with_folder

__all__ = ["new_recording"]


@click.command()
@click.option("--port", required=True, metavar="URL", help="Device, socket://host:port, rfc2217://..., file or pipe.")
@click.option("--setup", "setup_file", type=click.Path(path_type=Path), help="Set-up file (TOML).")
@click.option("--out", type=click.Path(path_type=Path), help="The recording; else a new one in your data folder.")
@click.option("--rate", type=click.FloatRange(min=1, max=100_000), metavar="HZ", help="Samples a second to ask for.")
@click.option("--baud", type=click.IntRange(min=1), help="Of a serial line; 921600 unless stated.")
@click.option("--page-port", type=click.IntRange(1, 65535), default=8050, show_default=True, help="Of the page.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, metavar="ADDRESS", help="0.0.0.0: for a tablet on the line."
)
def command(
    port: str, setup_file: Path | None, out: Path | None, rate: float | None, baud: int | None, page_port: int,
    host: str,
) -> None:  # fmt: skip
    """Record a sensor and show each shot on a page as it comes, at 127.0.0.1 unless --host is given. Ctrl-C ends it.

    \b
    Example:
      quiethand live --port /dev/ttyACM0 --setup bow.toml
    """
    from quiethand.commands.dashboard import refuse_port_in_use
    from quiethand.commands.supervisor import Supervisor
    from quiethand.home import home

    if setup_file is not None:  # its mistakes are told before anything starts
        from quiethand.bow.setup_file import read_setup

        read_setup(setup_file)
    refuse_port_in_use(page_port, "--page-port", host)
    supervisor = Supervisor(home())
    options = [] if rate is None else ["--rate", str(rate)]
    options += [] if baud is None else ["--baud", str(baud)]
    supervisor.record(port, out or new_recording(home()), setup_file, options)
    supervisor.show(page_port, host)
    supervisor.run()


def new_recording(folder: Path) -> Path:
    """A name by the time of day, in the folder of recordings."""
    return with_folder(folder / "recordings" / f"{datetime.now():%Y-%m-%d_%H-%M-%S}.qhr")
