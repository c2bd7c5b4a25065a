"""`quiethand demo`: a sensor in software shoots, over the real protocol, into a home of its own."""

from __future__ import annotations

import shutil
import tempfile
import time
from pathlib import Path
from typing import Final

import click

_EVERY_S: Final = 12.0  # from shot to shot: time to look at one before the next comes
_EVERY_HEADLESS_S: Final = 7.0


@click.command()
@click.option("--headless", is_flag=True, help="No page, no history: shoot, print the table of shots, and end.")
@click.option("--shots", type=click.IntRange(min=1), metavar="N", help="Stop after N shots (headless: 6, else none).")
@click.option("--seed", type=click.IntRange(min=0), help="The same seed, the same shots (headless: 1, else any).")
@click.option("--page-port", type=click.IntRange(1, 65535), default=8050, show_default=True, help="Of the page.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, metavar="ADDRESS", help="0.0.0.0: for a tablet on the line."
)
@click.option("--fresh", is_flag=True, help="Forget the demo's earlier shots and make its history anew.")
def command(headless: bool, shots: int | None, seed: int | None, page_port: int, host: str, fresh: bool) -> None:
    """Watch a sensor in software shoot, be measured and be judged, with some weeks of history. Ctrl-C ends it.

    Archer, bow and shots are invented. Nothing of yours is touched: the demo has a data folder of its own.
    """
    if headless:
        _headless(shots or 6, 1 if seed is None else seed)
    else:
        _with_page(shots, int(time.time()) % 100_000 if seed is None else seed, page_port, host, fresh)


def _with_page(shots: int | None, seed: int, page_port: int, host: str, fresh: bool) -> None:
    from quiethand.commands.dashboard import refuse_port_in_use
    from quiethand.commands.supervisor import Supervisor
    from quiethand.commands.wishes import Wishes, new_recording
    from quiethand.home import place_in_home

    refuse_port_in_use(page_port, "--page-port", host)
    folder = place_in_home("demo", "shots.sqlite3").parent
    if fresh:
        shutil.rmtree(folder)
        folder.mkdir()
    supervisor = Supervisor(folder)
    try:
        supervisor.show(page_port, host)
        url = supervisor.emulate(_archer(seed, _EVERY_S, folder / "lane-4.toml"))
        recording, setup_file = new_recording(folder), folder / "lane-4.toml"
        supervisor.record(url, recording, setup_file)
        supervisor.obey(Wishes(supervisor, url, setup_file, recording=recording))
        supervisor.work("history", ["demo-history"])
    except BaseException:
        supervisor.stop()
        raise
    supervisor.run(shots=shots)


def _archer(seed: int, every_s: float, setup_file: Path) -> list[str]:
    return [
        "--tcp", "0", "--seed", str(seed), "--habit", "grip_torque", "--strength", "1.5", "--every", str(every_s),
        "--setup-out", str(setup_file), "--force",
    ]  # fmt: skip


def _headless(shots: int, seed: int) -> None:
    from quiethand.commands.stored_table import print_shots
    from quiethand.commands.supervisor import Supervisor
    from quiethand.errors import QuiethandError

    with tempfile.TemporaryDirectory(prefix="quiethand-demo-") as name:
        folder = Path(name)
        supervisor = Supervisor(folder)
        try:
            url = supervisor.emulate(_archer(seed, _EVERY_HEADLESS_S, folder / "lane-4.toml"))
            supervisor.record(url, folder / "demo.qhr", folder / "lane-4.toml")
        except BaseException:
            supervisor.stop()
            raise
        came = supervisor.run(shots=shots, patience_s=60 + 4 * _EVERY_HEADLESS_S * shots)
        print_shots(f"sqlite:///{(folder / 'shots.sqlite3').as_posix()}")
        if not came:
            raise QuiethandError(f"only {supervisor.shots} of {shots} shots were found in time")
