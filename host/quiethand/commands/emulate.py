"""`quiethand emulate`: a sensor and an archer in software, on a pty or a TCP port."""

from __future__ import annotations

import os
import signal
from typing import IO, TYPE_CHECKING

import click

if TYPE_CHECKING:
    from quiethand.emulator import Scenario

__all__ = ["command"]

HABIT_NAMES = ("quiet", "grip_torque", "pluck", "anticipation", "dropping_arm", "tense", "slow_arrow")


@click.command()
@click.option("--pty", "on_pty", is_flag=True, help="Serve on a pseudo-terminal (not on Windows).")
@click.option(
    "--tcp", "port", type=click.IntRange(0, 65535), help="Serve on this port of 127.0.0.1; 0 for any [default: 0]."
)
@click.option(
    "--seed", type=click.IntRange(0), default=1, show_default=True, help="The same seed shoots the same shots."
)
@click.option("--habit", type=click.Choice(HABIT_NAMES), default="quiet", show_default=True, help="What the hands do.")
@click.option(
    "--strength", type=float, default=1.0, show_default=True, help="Of the habit: 0 is quiet, 1 the habit in full."
)
@click.option("--bow", type=click.Choice(("compound", "recurve")), default="compound", show_default=True)
@click.option("--hand", type=click.Choice(("right", "left")), default="right", show_default=True, help="The archer's.")
@click.option("--sensor", type=click.Choice(("good", "cheap")), default="good", show_default=True)
@click.option(
    "--rate", type=float, default=2000.0, show_default=True, metavar="HZ", help="Samples a second at power-up."
)
@click.option("--every", type=float, default=12.0, show_default=True, metavar="SECONDS", help="From shot to shot.")
@click.option("--shots", type=click.IntRange(0), metavar="N", help="Then the archer rests [default: shoots for ever].")
@click.option(
    "--nuisances",
    type=click.Choice(("none", "usual", "all")),
    default="usual",
    show_default=True,
    help="What happens between shots: nocking, taps, let-downs ...; 'all' shows each kind, a dry fire too.",
)
@click.option("--text-mode", is_flag=True, help="Lines of text in place of frames; streams at once, hears nothing.")
@click.option("--still", is_flag=True, help="Nobody shoots: the sensor lies still, as for a look at its noise.")
@click.option("--gate", is_flag=True, help="A light gate at the rest: an EVENT when the arrow has passed it.")
@click.option("--switch", is_flag=True, help="A switch on the string hand's side: an EVENT as the string is let go.")
@click.option("--lose", type=float, default=0.0, metavar="P", help="Chance that a block is lost in the device.")
@click.option("--corrupt", type=float, default=0.0, metavar="P", help="Chance that a frame is spoilt on the way.")
@click.option("--restart-after", type=float, metavar="SECONDS", help="Restart once, so long after the first start.")
@click.option("--unplug-every", type=float, metavar="SECONDS", help="Lose the link for a second, again and again.")
@click.option("--boot-message", is_flag=True, help="Print a line outside any frame at power-up.")
@click.option("--ppm", type=float, default=0.0, metavar="X", help="The device's clock is this far off.")
@click.option("--speed", type=click.FloatRange(0.01, 100.0), default=1.0, show_default=True, help="Times real time.")
@click.option(
    "--truth",
    type=click.File("w", lazy=False),
    metavar="FILE",
    help="Write what really happened, a line of JSON for each shot and nuisance.",
)
@click.option(
    "--setup-out",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="Write the set-up file that belongs to this bow and sensor.",
)
@click.option("--force", is_flag=True, help="Let --setup-out replace a file.")
def command(
    on_pty: bool,
    port: int | None,
    seed: int,
    habit: str,
    strength: float,
    bow: str,
    hand: str,
    sensor: str,
    rate: float,
    every: float,
    shots: int | None,
    nuisances: str,
    text_mode: bool,
    still: bool,
    gate: bool,
    switch: bool,
    lose: float,
    corrupt: float,
    restart_after: float | None,
    unplug_every: float | None,
    boot_message: bool,
    ppm: float,
    speed: float,
    truth: IO[str] | None,
    setup_out: str | None,
    force: bool,
) -> None:
    """A sensor and an archer in software.

    The first line on standard output is the address to open, such as socket://127.0.0.1:40001 or /dev/pts/3. Then it
    lives until Ctrl-C, whoever comes and goes. Nothing streams until a client sends `start`, except in text mode.
    """
    # small products of matrices are quicker without BLAS's threads, and a real sensor takes no processor at all
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from quiethand.emulator import Device, Faults, Scenario, TextDevice
    from quiethand.emulator.serve import Link, PtyLink, TcpLink, serve

    if on_pty and port is not None:
        raise click.UsageError("--pty and --tcp exclude each other; choose one")
    faults = Faults(
        lose=lose, corrupt=corrupt, restart_after_s=restart_after, unplug_every_s=unplug_every,
        boot_message=boot_message, clock_ppm=ppm,
    )  # fmt: skip
    scenario = Scenario(
        seed=seed, bow=bow, habit=habit, strength=strength, handedness=hand, every_s=every,  # type: ignore[arg-type]
        shots=shots, nuisances=nuisances, sensor=sensor, rate_hz=rate, still=still, gate=gate,  # type: ignore[arg-type]
        switch=switch, faults=faults,
    )  # fmt: skip
    if setup_out is not None:
        _write_setup(setup_out, scenario, force)
    stopped: list[int] = []
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda got, _frame: stopped.append(got))
    device = TextDevice(scenario) if text_mode else Device(scenario)
    link: Link = PtyLink(stable=unplug_every is not None) if on_pty else TcpLink(port or 0)
    try:
        click.echo(link.url)
        click.echo(f"a {bow} and a {sensor} sensor at {rate:g} Hz; Ctrl-C ends it", err=True)
        serve(device, link, speed=speed, stop=lambda: bool(stopped), truth=truth)
    finally:
        link.close()


def _write_setup(path: str, scenario: Scenario, force: bool) -> None:
    from quiethand.emulator import setup_document, setup_toml
    from quiethand.errors import InputError

    try:
        with open(path, "w" if force else "x", encoding="utf-8") as file:
            file.write(setup_toml(setup_document(scenario, delays=True)))
    except FileExistsError:
        raise InputError("the file is there already", where=path, do="choose another name, or add --force") from None
    except OSError as error:
        raise InputError(f"cannot write: {error.strerror}", where=path, do="choose a folder you may write to") from None
