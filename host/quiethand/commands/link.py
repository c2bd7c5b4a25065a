"""`quiethand link`: the health of a link, or a check of the device at its other end."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

import click

from quiethand.commands.durations import DURATION
from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.link.serial_port import Link


@click.command()
@click.argument("port", metavar="PORT")
@click.option("--check", is_flag=True, help="Hold the device against the wire format, line by line (some 30 s).")
@click.option("--for", "for_s", type=DURATION, help="Stop after so long: 30s, 5min [10s when piped; else Ctrl-C].")
@click.option("--rate", type=click.FloatRange(min=1, max=100_000), metavar="HZ", help="Samples a second to ask for.")
@click.option("--baud", type=click.IntRange(min=1), help="Of a serial line; 921600 unless stated.")
@click.option(
    "--gyro-density", type=click.FloatRange(min=0, min_open=True), metavar="X",
    help="The data sheet's rate noise density, deg/s/sqrt(Hz).",
)  # fmt: skip
@click.option(
    "--accel-density", type=click.FloatRange(min=0, min_open=True), metavar="X",
    help="The data sheet's acceleration noise density, ug/sqrt(Hz).",
)  # fmt: skip
@click.option("--format", "form", type=click.Choice(("text", "json")), default="text", show_default=True)
def command(
    port: str,
    check: bool,
    for_s: float | None,
    rate: float | None,
    baud: int | None,
    gyro_density: float | None,
    accel_density: float | None,
    form: str,
) -> None:
    """The health of a link: rate, jitter, loss, bytes, supply, and noise at rest. Or a check of the device (--check).

    \b
    Examples:
      quiethand link /dev/ttyACM0
      quiethand link /dev/ttyACM0 --for 30s --gyro-density 0.005
      quiethand link socket://127.0.0.1:7000 --check

    Exit status: 0 all is right; 1 something fails; 2 no port or no answer.
    """
    from contextlib import ExitStack

    from quiethand.link.serial_port import DEFAULT_BAUD, FileLink, LinkLost, PortLock, open_link

    if check and (for_s or rate or gyro_density or accel_density):
        raise click.UsageError("--check goes without --for, --rate and densities: it sets what it needs itself")
    with ExitStack() as held:
        held.callback(PortLock(port).close)
        link = open_link(port, baud or DEFAULT_BAUD)
        held.callback(link.close)
        if isinstance(link, FileLink):
            raise InputError("is a file, not a device", where=port, do="'quiethand check' looks at recordings")
        try:
            if check:
                right = _check(link, port, form)
            else:
                right = _watch(link, port, for_s, rate, baud, gyro_density, accel_density, form)
        except LinkLost as lost:
            raise InputError(f"the link was lost ({lost})", where=port, do="check plug and supply, then again") from None
    if not right:
        raise click.exceptions.Exit(1)


def _check(link: Link, port: str, form: str) -> bool:
    from quiethand.commands.link_words import check_object, check_text
    from quiethand.link.check import NoAnswerError, check_device

    show = sys.stderr.isatty()

    def tell(phase: str) -> None:
        if show:
            click.echo(f"\r\x1b[K{phase.replace('_', ' ')} ...", nl=False, err=True)

    try:
        evidence, findings = check_device(link, time.monotonic, tell)
    except NoAnswerError as nothing:
        what, do = "no answer in 5 s", "is it a sensor, is it on? 'quiethand ports' lists what is there"
        if nothing.bytes_heard:
            what = f"no answer in 5 s, only {nothing.bytes_heard} bytes that say nothing"
            do = "is the baud rate right (--baud)? Is its firmware one that speaks the motion stream?"
        raise InputError(what, where=port, do=do) from None
    finally:
        _farewell(link)
        if show:
            click.echo("\r\x1b[K", nl=False, err=True)
    click.echo(check_object(port, evidence, findings) if form == "json" else check_text(port, evidence, findings))
    return all(finding.verdict != "fails" for finding in findings)


def _farewell(link: Link) -> None:
    """However the talk ends, the device is not left streaming."""
    from quiethand_protocol.encoding import encode
    from quiethand_protocol.messages import Command, CommandCode

    from quiethand.link.serial_port import LinkLost

    try:
        link.write(encode(Command(0, CommandCode.STOP)))
    except LinkLost:
        return


def _watch(
    link: Link,
    port: str,
    for_s: float | None,
    rate: float | None,
    baud: int | None,
    gyro_density: float | None,
    accel_density: float | None,
    form: str,
) -> bool:
    raise NotImplementedError
