"""What to emulate: one plain value that, with its seed, decides every byte."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

from quiethand.emulator.bows import BowKind
from quiethand.emulator.habits import HABITS
from quiethand.errors import InputError

__all__ = ["SHORTEST_EVERY_S", "Faults", "Nuisances", "Scenario", "SensorKind"]

SensorKind = Literal["good", "cheap"]
Nuisances = Literal["none", "usual", "all"]
SHORTEST_EVERY_S = 6.5  # raise, draw, hold, shoot and lower take that long at the quickest


@dataclass(frozen=True)
class Faults:
    """What goes wrong on the way, all off by default."""

    lose: float = 0.0  # chance that a block is lost in the device
    corrupt: float = 0.0  # chance that a frame has a byte changed, dropped or doubled
    restart_after_s: float | None = None  # once, this long after the first start
    unplug_every_s: float | None = None  # the link is lost again and again; pulled, the sensor has no power
    unplugged_s: float = 1.0
    boot_message: bool = False  # power-up prints a line outside any frame
    clock_ppm: float = 0.0  # the device's clock runs this much too fast
    delays_unknown: bool = False  # DESCRIPTION does not state the filters' delays


@dataclass(frozen=True)
class Scenario:
    """An archer, a bow, a sensor and a stretch of shooting.

    The same seed gives the same archer's shots whatever the sensor, its rate and the faults are.
    """

    seed: int = 1
    bow: BowKind = "compound"
    habit: str = "quiet"
    strength: float = 1.0  # of the habit: 0 quiet, 1 in full
    handedness: Literal["right", "left"] = "right"
    every_s: float = 12.0  # from release to release within an end
    shots: int | None = None  # then the archer rests for good; None: shoots for ever
    arrows_per_end: int = 6  # after which there is a walk to the target and back
    walk_s: float = 16.0
    nuisances: Nuisances = "usual"
    sensor: SensorKind = "good"
    rate_hz: float = 2000.0
    turned: bool = False  # the sensor sits turned in its mount
    mount_hz: float | None = None  # lowest mode of the sensor's seat; None: what suits the sensor
    gate: bool = False  # a light gate at the rest: EVENT on channel 1 when the arrow has passed it
    still: bool = False  # nobody shoots: the sensor lies level on something heavy
    switch: bool = False  # a switch on the string hand's side: EVENT on channel 2 as the string is let go
    faults: Faults = field(default_factory=Faults)

    def __post_init__(self) -> None:
        for name, choices in (
            ("bow", get_args(BowKind)),
            ("habit", tuple(HABITS)),
            ("sensor", get_args(SensorKind)),
            ("nuisances", get_args(Nuisances)),
            ("handedness", ("right", "left")),
        ):
            if getattr(self, name) not in choices:
                raise InputError(
                    f"no {name} called {getattr(self, name)!r}", where="emulator", do=f"use one of {', '.join(choices)}"
                )
        for name, low, high in (
            ("every_s", SHORTEST_EVERY_S, 3600.0),
            ("rate_hz", 100.0, 8000.0),
            ("strength", 0.0, 3.0),
            ("walk_s", 4.0, 600.0),
            ("arrows_per_end", 1, 1000),
            ("shots", 0, 1_000_000),
            ("mount_hz", 5.0, 2000.0),
        ):
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise InputError(f"{name} is {value:g}", where="emulator", do=f"give {low:g} to {high:g}")
        for name in ("lose", "corrupt"):
            if not 0 <= getattr(self.faults, name) <= 1:
                raise InputError(f"{name} is {getattr(self.faults, name):g}", where="emulator", do="give 0 to 1")
        for name in ("restart_after_s", "unplug_every_s", "unplugged_s"):
            seconds = getattr(self.faults, name)
            if seconds is not None and seconds <= 0:
                raise InputError(f"{name} is {seconds:g}", where="emulator", do="give a time over 0")
        if abs(self.faults.clock_ppm) > 50_000:
            raise InputError(f"clock_ppm is {self.faults.clock_ppm:g}", where="emulator", do="give -50000 to 50000")
