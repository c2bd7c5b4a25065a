"""Do the stated uncertainties hold? Emulated shots of all kinds, analysed as a user would, against the truth.

Run `python tests/bench/long_coverage.py --shots 2000 [--seed 1] [--jobs 2] [--json FILE]`. Recordings of both bows and
sensors, 1 to 8 kHz, every habit, both hands and turned mounts are written, analysed and thrown away. For each measure
that states a sigma the table gives the share of errors inside 1, 1.96 and 2 sigma (68, 95 and 95.4 % if the sigmas are
true and errors normal), the median and 95th percentile of the error, and the median sigma. The emulator shares no
physics with the analysis.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from quiethand.analysis import Report, analyse_path
from quiethand.axes import AXIS_NAMES, Axes
from quiethand.emulator import HABITS, Scenario, ShotTruth, Truth, write_recording
from quiethand.shots.model import Shot

RATES_HZ = (1000.0, 2000.0, 4000.0, 8000.0)
PER_RECORDING = 6
NEAR_S = 0.02  # a shot found this close to a true release is that shot
DISTANCE_M = 18.0


@dataclass(frozen=True)
class Row:
    """One figure of one shot: what it is off, and what it says of itself."""

    measure: str
    error: float
    sigma: float


@dataclass
class Outcome:
    """What came of one or many recordings."""

    rows: dict[str, list[Row]] = field(default_factory=dict)  # by kind of scene
    true_shots: int = 0
    found: int = 0
    false_alarms: int = 0
    absent: int = 0  # figures that a sound shot did not get

    def add(self, other: Outcome) -> None:
        for name, rows in other.rows.items():
            self.rows.setdefault(name, []).extend(rows)
        self.true_shots += other.true_shots
        self.found += other.found
        self.false_alarms += other.false_alarms
        self.absent += other.absent


def scenario_of(seed: int, shots: int = PER_RECORDING, rates_hz: tuple[float, ...] = RATES_HZ) -> Scenario:
    """Every combination of bow, sensor, rate and habit comes round; hands and mounts by chance."""
    rng = np.random.default_rng([seed, 77])
    habits = tuple(HABITS)
    return Scenario(
        seed=1000 + seed,
        bow=("compound", "recurve")[seed % 2],
        sensor=("good", "cheap")[(seed // 2) % 2],
        rate_hz=rates_hz[(seed // 4) % len(rates_hz)],
        habit=habits[int(rng.integers(len(habits)))],
        strength=float(rng.uniform(0.5, 1.3)),
        handedness="left" if rng.uniform() < 0.3 else "right",
        turned=bool(rng.uniform() < 0.3),
        every_s=float(rng.uniform(9.0, 14.0)),
        shots=shots,
    )


def matched(report: Report, truth: Truth) -> tuple[list[tuple[ShotTruth, Shot]], int]:
    """True shots with what was found of them, and how many were found that were none."""
    pairs: list[tuple[ShotTruth, Shot]] = []
    left = list(report.shots)
    for true in truth.shots:
        near = [s for s in left if abs(s.departure_s - true.departure_s) < NEAR_S]
        if near:
            left.remove(near[0])
            pairs.append((true, near[0]))
    return pairs, len(left)


def _axes(name: str, got: Axes, true: Axes, sigma: Axes, size: Callable[[Any], Any] = lambda x: x) -> Iterator[Row]:
    for axis, g, t, s in zip(AXIS_NAMES, size(got.array()), true.array(), sigma.array(), strict=True):
        yield Row(f"{name} {axis}", float(g - t), float(s))


def rows_of(true: ShotTruth, shot: Shot) -> list[Row]:
    """Every figure that states a sigma; NaN where it is absent. Times in ms, angles in mdeg, the rest in their unit."""
    nan = float("nan")

    def one(name: str, got: float | None, value: float, sigma: float | None, unit: float = 1.0) -> Row:
        return Row(name, nan if got is None else (got - value) * unit, nan if sigma is None else sigma * unit)

    def mdeg(axes: Axes) -> Axes:
        return Axes.of(axes.array() * 1e3)

    at, parts, window = shot.at_departure, shot.at_departure.parts, shot.window
    turned = np.deg2rad(true.rotation_deg.array())
    follow = shot.follow_through
    return [
        one("release, ms", shot.release_s, true.release_s, shot.release_sigma_s, 1e3),
        one("departure, ms", shot.departure_s, true.departure_s, shot.departure_sigma_s, 1e3),
        one("time on string, ms", shot.time_on_string_s, true.time_on_string_s, shot.time_on_string_sigma_s, 1e3),
        *_axes("rotation, mdeg", mdeg(at.rotation_deg), mdeg(true.rotation_deg), mdeg(at.rotation_sigma_deg)),
        *_axes("rate, deg/s", at.rate_deg_s, true.rate_deg_s, at.rate_sigma_deg_s),
        *_axes("carried in, mdeg", *map(mdeg, (parts.carried_in_deg, true.carried_in_deg, parts.carried_in_sigma_deg))),
        *_axes("struck, mdeg", *map(mdeg, (parts.struck_deg, true.struck_deg, parts.struck_sigma_deg))),
        *_axes("pressed, mdeg", *map(mdeg, (parts.pressed_deg, true.pressed_deg, parts.pressed_sigma_deg))),
        one("pointing right, mm", at.pointing.right_mm, -turned[2] * DISTANCE_M * 1e3, at.pointing.right_sigma_mm),
        one("pointing up, mm", at.pointing.up_mm, -turned[1] * DISTANCE_M * 1e3, at.pointing.up_sigma_mm),
        *_axes("mean torque, N m", window.mean_torque_nm, true.mean_torque_nm, window.mean_torque_sigma_nm),
        *_axes("peak torque, N m", window.peak_torque_nm, true.peak_torque_nm, window.peak_torque_sigma_nm, np.abs),
        *_axes(
            "impulse, mN m s",
            *map(mdeg, (window.angular_impulse_nms, true.angular_impulse_nms, window.angular_impulse_sigma_nms)),
        ),
        *_axes(
            "hand stiffness, N m/rad",
            follow.hand_stiffness_nm_rad,
            true.hand_stiffness_nm_rad,
            follow.hand_stiffness_sigma_nm_rad,
        ),
    ]


def run_one(scenario: Scenario) -> Outcome:
    """Write, analyse and judge one recording."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "r.qhr"
        truth = write_recording(path, scenario)
        report = analyse_path(str(path))
    pairs, extra = matched(report, truth)
    rows = [row for true, shot in pairs for row in rows_of(true, shot)]
    absent = sum(
        1 for row in rows if not (np.isfinite(row.error) and np.isfinite(row.sigma)) and "stiffness" not in row.measure
    )
    label = f"{scenario.bow} {scenario.sensor}"
    return Outcome({label: rows}, len(truth.shots), len(pairs), extra, absent)


def table(rows: Iterable[Row]) -> list[tuple[str, int, float, float, float, float, float, float]]:
    """By measure: how many, inside 1, 1.96, 2 sigma (per cent), median and 95th percentile of |error|, median sigma."""
    by: dict[str, list[tuple[float, float]]] = {}
    for row in rows:
        values = by.setdefault(row.measure, [])
        if np.isfinite(row.error) and np.isfinite(row.sigma) and row.sigma > 0:
            values.append((abs(row.error), row.sigma))
    found = []
    for name, pairs in by.items():
        if not pairs:
            continue
        error, sigma = np.array(pairs).T
        inside = [100 * float(np.mean(error < k * sigma)) for k in (1.0, 1.96, 2.0)]
        found.append(
            (
                name,
                len(error),
                *inside,
                float(np.median(error)),
                float(np.percentile(error, 95)),
                float(np.median(sigma)),
            )
        )
    return found


def print_table(title: str, rows: Iterable[Row]) -> None:
    print(f"\n{title}")
    print(f"{'measure':30} {'n':>6} {'1 s %':>6} {'95 %':>6} {'2 s %':>6} {'median':>9} {'p95':>9} {'sigma':>9}")
    for name, n, one, ninety_five, two, median, p95, sigma in table(rows):
        print(f"{name:30} {n:6d} {one:6.1f} {ninety_five:6.1f} {two:6.1f} {median:9.4g} {p95:9.4g} {sigma:9.4g}")


def run_many(scenarios: Iterable[Scenario], jobs: int = 1) -> Outcome:
    whole = Outcome()
    if jobs == 1:
        for scenario in scenarios:
            whole.add(run_one(scenario))
        return whole
    with ProcessPoolExecutor(jobs) as pool:
        for outcome in pool.map(run_one, scenarios):
            whole.add(outcome)
    return whole


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--shots", type=int, default=2000)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options.add_argument("--json", type=Path, help="write every error and sigma here, by kind of scene")
    asked = options.parse_args()
    recordings = max(1, round(asked.shots / PER_RECORDING))
    outcome = run_many((scenario_of(asked.seed + n) for n in range(recordings)), asked.jobs)
    print(f"{outcome.true_shots} shots, {outcome.found} found, {outcome.false_alarms} false alarms,", end=" ")
    print(f"{outcome.absent} figures absent")
    print_table("all", [row for rows in outcome.rows.values() for row in rows])
    for name in sorted(outcome.rows):
        print_table(name, outcome.rows[name])
    if asked.json is not None:
        plain = {name: [(r.measure, r.error, r.sigma) for r in rows] for name, rows in outcome.rows.items()}
        asked.json.write_text(json.dumps(plain))


if __name__ == "__main__":
    main()
