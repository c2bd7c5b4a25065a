"""The demo's earlier weeks: an invented indoor winter league, shot in software and measured as any recording is."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final, Literal

import click

if TYPE_CHECKING:
    from pathlib import Path

_SHOTS: Final = 6  # an end
_RATE_HZ: Final = 1000.0


@dataclass(frozen=True)
class Evening:
    """One archer's end on one evening."""

    lane: int
    weeks_ago: int
    hour: int
    bow: Literal["compound", "recurve"]
    habit: str
    strength: float
    handedness: Literal["right", "left"] = "right"

    @property
    def name(self) -> str:
        return f"lane-{self.lane}-{self.habit.replace('_', '-')}-{self.weeks_ago}-weeks-before"


def evenings() -> Iterator[Evening]:
    """Lane 4 presses less on the grip from week to week, and trains with a slow arrow; lane 7 shoots a recurve and
    plucks less; lane 2 holds the bow in the right hand and lets the arm drop."""
    for weeks_ago, strength in ((1, 1.2), (2, 1.5), (3, 1.9), (4, 2.3), (5, 2.6)):
        yield Evening(4, weeks_ago, 19, "compound", "grip_torque", strength)
    for weeks_ago in (1, 3):
        yield Evening(4, weeks_ago, 20, "compound", "slow_arrow", 1.0)
    for weeks_ago, strength in ((1, 0.9), (2, 1.2), (4, 1.7), (5, 2.0)):
        yield Evening(7, weeks_ago, 18, "recurve", "pluck", strength)
    for weeks_ago, strength in ((2, 1.2), (4, 1.6)):
        yield Evening(2, weeks_ago, 21, "compound", "dropping_arm", strength, "left")


@click.command()
def command() -> None:
    """Make what is missing of the demo's history. Killed at any moment, it goes on where it was."""
    from quiethand.commands.import_ import import_recording
    from quiethand.home import recordings_folder
    from quiethand.store import open_store

    folder = recordings_folder()
    today = datetime.fromtimestamp(_first_run(folder))
    store = open_store()
    for number, evening in enumerate(evenings()):
        path = folder / f"{evening.name}.qhr"
        if not path.exists():
            start = (today - timedelta(weeks=evening.weeks_ago)).replace(hour=evening.hour, minute=4, second=0)
            _shoot(evening, path, seed=100 + number, unix_s=start.timestamp())
        import_recording(store, path)
    store.close()


def _first_run(folder: Path) -> float:
    """When the history was begun, so that an interrupted one keeps its days."""
    note = folder / "history.json"
    if not note.exists():
        note.write_text(json.dumps({"begun_unix_s": time.time()}))
    return float(json.loads(note.read_text())["begun_unix_s"])


def _shoot(evening: Evening, path: Path, *, seed: int, unix_s: float) -> None:
    from quiethand.emulator import Scenario, setup_document, write_recording

    scenario = Scenario(
        seed=seed,
        bow=evening.bow,
        habit=evening.habit,
        strength=evening.strength,
        handedness=evening.handedness,
        every_s=8.0,
        shots=_SHOTS,
        rate_hz=_RATE_HZ,
    )
    unfinished = path.with_suffix(".part")
    session = setup_document(scenario, archer=f"Lane {evening.lane}")
    # An archer measures bow and arrow once, not anew each evening; the sensor's own figures are the evening's.
    once = setup_document(replace(scenario, seed=evening.lane), archer=f"Lane {evening.lane}")
    session |= {table: once[table] for table in ("bow", "arrow", "target") if table in once}
    write_recording(unfinished, scenario, unix_s=unix_s, session=session)
    unfinished.replace(path)
