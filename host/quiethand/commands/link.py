"""`quiethand link`: the health of a link, or a check of the device at its other end."""

from __future__ import annotations

import signal
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import click

from quiethand.commands.durations import DURATION
from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.link.serial_port import Link

_PIPED_S: Final = 10.0


@dataclass(frozen=True)
class _Asked:
    """Of a watch."""

    for_s: float | None = None
    rate_hz: float | None = None
    densities: tuple[float | None, float | None] = (None, None)


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

    asked = _Asked(for_s, rate, (gyro_density, accel_density))
    if check and asked != _Asked():
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
                right = _watch(link, port, form, _line_baud(port, baud), asked)
        except LinkLost as lost:
            raise InputError(
                f"the link was lost ({lost})", where=port, do="check plug and supply, then again"
            ) from None
    if not right:
        raise click.exceptions.Exit(1)


def _line_baud(port: str, stated: int | None) -> int | None:
    """What limits the bytes: a serial line's baud rate; a socket has none unless one is stated."""
    from quiethand.link.serial_port import DEFAULT_BAUD

    return stated if stated or port.startswith("socket://") else DEFAULT_BAUD


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


def _watch(link: Link, port: str, form: str, baud: int | None, asked: _Asked) -> bool:
    from quiethand.commands.link_words import health_object, health_text
    from quiethand.link.health_judge import problems
    from quiethand.link.health_loop import watch_link

    live = None
    if form == "text" and sys.stdout.isatty():
        from quiethand.commands.link_live import LiveHealth

        live = LiveHealth(port, asked.densities)
    stopped: list[int] = []
    for name in ("SIGINT", "SIGTERM"):
        signal.signal(getattr(signal, name), lambda number, _frame: stopped.append(number))
    try:
        health = watch_link(
            link,
            baud=baud,
            rate_mhz=None if asked.rate_hz is None else round(asked.rate_hz * 1000),
            for_s=asked.for_s if asked.for_s is not None or live else _PIPED_S,
            stopped=lambda: bool(stopped),
            show=live.show if live else lambda _health: None,
        )
    finally:
        if live:
            live.stop()
    if health is None:
        do = "is it a sensor, is it on, is the baud rate right? 'quiethand ports' lists what is there"
        raise InputError("no answer in 5 s", where=port, do=do)
    wrong = problems(health, asked.densities)
    words = health_object if form == "json" else health_text
    click.echo(words(port, health, asked.densities, wrong))
    return not wrong
