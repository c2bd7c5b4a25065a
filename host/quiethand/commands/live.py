"""`quiethand live`: record, and show each shot on the page as it comes."""

from __future__ import annotations

from pathlib import Path

import click

from quiethand.home import with_folder


@click.command()
@click.option(
    "--port", metavar="URL", help="Device, socket://host:port, rfc2217://..., file or pipe; else chosen on the page."
)
@click.option("--setup", "setup_file", type=click.Path(path_type=Path), help="Set-up file (TOML).")
@click.option("--out", type=click.Path(path_type=Path), help="The recording; else a new one in your data folder.")
@click.option("--rate", type=click.FloatRange(min=1, max=100_000), metavar="HZ", help="Samples a second to ask for.")
@click.option("--baud", type=click.IntRange(min=1), help="Of a serial line; 921600 unless stated.")
@click.option("--page-port", type=click.IntRange(1, 65535), default=8050, show_default=True, help="Of the page.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, metavar="ADDRESS", help="0.0.0.0: for a tablet on the line."
)
def command(
    port: str | None, setup_file: Path | None, out: Path | None, rate: float | None, baud: int | None, page_port: int,
    host: str,
) -> None:  # fmt: skip
    """Record a sensor and show each shot on a page as it comes, at 127.0.0.1 unless --host is given. Ctrl-C ends it.

    The page can end the recording, begin another and calibrate the sensor (under Sensor).

    \b
    Example:
      quiethand live --port /dev/ttyACM0 --setup bow.toml
    """
    from quiethand.commands.dashboard import refuse_port_in_use
    from quiethand.commands.supervisor import Supervisor
    from quiethand.commands.wishes import Wishes, new_recording
    from quiethand.home import home

    if port is None and out is not None:
        raise click.UsageError("--out goes with --port; recordings that the page begins get names of their own")
    if setup_file is not None:  # its mistakes are told before anything starts
        from quiethand.bow.setup_file import read_setup

        read_setup(setup_file)
    refuse_port_in_use(page_port, "--page-port", host)
    supervisor = Supervisor(home())
    options = [] if rate is None else ["--rate", str(rate)]
    options += [] if baud is None else ["--baud", str(baud)]
    recording = None if port is None else out or new_recording(home())
    if port is not None and recording is not None:
        supervisor.record(port, recording, setup_file, options)
    with_folder(home() / "control.json")
    supervisor.obey(Wishes(supervisor, port, setup_file, options, recording))
    supervisor.show(page_port, host)
    supervisor.run()
