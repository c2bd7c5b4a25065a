"""The tables of `host/METHOD.md`: what each method gives on emulated shots, and what was rejected gives beside it.

Run `python tests/bench/long_method.py [--recordings 6] [SECTION ...]`; sections are rotation, timing, shock, stiffness,
mount, times, rattle and rates; all of them take some minutes. Every shot is made anew from its seed.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from long_coverage import matched, rows_of
from numpy.typing import NDArray
from quiethand.analysis import Report, ShotFollower, analyse_path
from quiethand.emulator import Scenario, ShotTruth, Truth, scene, write_recording
from quiethand.link.files import open_motion
from quiethand.motion.rotation import rotation_curve
from quiethand.shots import timing
from quiethand.shots.model import Shot

Floats = NDArray[np.float64]
KINDS = [(bow, sensor) for bow in ("compound", "recurve") for sensor in ("good", "cheap")]


def scenarios(recordings: int, **named: Any) -> Iterator[Scenario]:
    for n in range(recordings):
        yield Scenario(
            **{"seed": 400 + n, "shots": 5, "nuisances": "none", "every_s": 9.0, "habit": "grip_torque", **named}
        )


@contextmanager
def recorded(scenario: Scenario) -> Iterator[tuple[Path, Truth]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "m.qhr"
        yield path, write_recording(path, scenario)


def pairs_of(scenario: Scenario) -> list[tuple[ShotTruth, Shot]]:
    with recorded(scenario) as (path, truth):
        return matched(analyse_path(str(path)), truth)[0]


@contextmanager
def instead(owner: object, name: str, value: object) -> Iterator[None]:
    usual = getattr(owner, name)
    setattr(owner, name, value)
    try:
        yield
    finally:
        setattr(owner, name, usual)


def told(title: str, columns: str, rows: list[tuple[object, ...]]) -> None:
    print(f"\n{title}\n\n| {columns} |\n|{' --- |' * (columns.count('|') + 1)}")
    for row in rows:
        print("| " + " | ".join(f"{x:.3g}" if isinstance(x, float) else str(x) for x in row) + " |")


def spread(values: list[float] | Floats) -> str:
    size = np.abs(np.asarray(values, dtype=np.float64))
    size = size[np.isfinite(size)]
    return f"{np.median(size):.2f} / {np.percentile(size, 95):.2f}" if len(size) else "none"


def error_mdeg(got: Floats, true: ShotTruth) -> list[float]:
    return list(np.abs(np.degrees(got) - true.rotation_deg.array()) * 1e3)


def rotation(recordings: int) -> None:
    """Integrators between the TRUE instants, and the shipped figure between those found."""
    rows: list[tuple[object, ...]] = []
    for sensor in ("good", "cheap"):
        for rate_hz in (1000.0, 4000.0):
            off: dict[str, list[float]] = {name: [] for name in ("as found", "samples", "smoothed", "late", "left")}
            for scenario in scenarios(recordings, sensor=sensor, rate_hz=rate_hz):
                with recorded(scenario) as (path, truth):
                    report = analyse_path(str(path))
                    blocks = list(open_motion(path))
                tick = np.concatenate([b.time_s for b in blocks])
                rate = np.concatenate([b.rate_rad_s for b in blocks])
                delay, period = blocks[0].gyro_delay_s or 0.0, blocks[0].period_s
                n = max(3, round(4e-3 / period)) | 1
                taper = np.hanning(n + 2)[1:-1] / np.hanning(n + 2).sum()
                for true, shot in matched(report, truth)[0]:
                    near = (tick > true.release_s - 0.05) & (tick < true.departure_s + 0.05)
                    t, w, to = tick[near], rate[near], [true.departure_s]
                    smooth = np.stack([np.convolve(w[:, k], taper, "same") for k in range(3)], axis=1)
                    inside = (t - delay >= true.release_s) & (t - delay < true.departure_s)
                    off["as found"] += error_mdeg(np.radians(shot.at_departure.rotation_deg.array()), true)
                    off["samples"] += error_mdeg(rotation_curve(t - delay, w, true.release_s, to)[0], true)
                    off["smoothed"] += error_mdeg(rotation_curve(t - delay, smooth, true.release_s, to)[0], true)
                    off["late"] += error_mdeg(rotation_curve(t, w, true.release_s, to)[0], true)
                    off["left"] += error_mdeg(w[inside].sum(axis=0) * period, true)
            rows.append((sensor, int(rate_hz), *[spread(values) for values in off.values()]))
    told(
        "Rotation at departure, error in mdeg, median / 95th percentile",
        "sensor | Hz | shipped, instants as found | samples as they come, true instants | centred 4 ms filter | "
        "delay not taken off | sum of samples",
        rows,
    )


def instants(recordings: int) -> None:
    """The shipped timing against parts of it alone."""

    def nothing(*_: object, **__: object) -> None:
        return None

    ways: dict[str, list[tuple[object, str, object]]] = {
        "all": [],
        "without the first stir": [(timing, "release_onset", nothing)],
        "shock and launch model alone": [(timing, "_fit_push", nothing)],
    }
    rows: list[tuple[object, ...]] = []
    for bow, sensor in KINDS:
        for rate_hz in (1000.0, 4000.0):
            cells: list[object] = [f"{bow}, {sensor}", int(rate_hz)]
            for patches in ways.values():
                begin: list[float] = []
                end: list[float] = []
                for scenario in scenarios(recordings, bow=bow, sensor=sensor, rate_hz=rate_hz):
                    with instead(*patches[0]) if patches else instead(timing, "__doc__", None):
                        pairs = pairs_of(scenario)
                    begin += [1e3 * ((shot.release_s or np.nan) - true.release_s) for true, shot in pairs]
                    end += [1e3 * (shot.departure_s - true.departure_s) for true, shot in pairs]
                cells += [spread(begin), spread(end)]
            rows.append(tuple(cells))
    told(
        "Release and departure, error in ms, median / 95th percentile",
        "bow, sensor | Hz | " + " | ".join(f"release, {way} | departure, {way}" for way in ways),
        rows,
    )


def moved_by(before: Report, after: Report) -> dict[str, list[float]]:
    by: dict[str, list[float]] = {"release": [], "departure": [], "rotation": [], "rate": []}
    for a, b in zip(before.shots, after.shots, strict=True):
        at, then = a.at_departure, b.at_departure
        by["release"].append(((b.release_s or 0) - (a.release_s or 0)) / (a.release_sigma_s or np.nan))
        by["departure"].append((b.departure_s - a.departure_s) / (a.departure_sigma_s or np.nan))
        by["rotation"] += list((then.rotation_deg.array() - at.rotation_deg.array()) / at.rotation_sigma_deg.array())
        by["rate"] += list((then.rate_deg_s.array() - at.rate_deg_s.array()) / at.rate_sigma_deg_s.array())
    return by


def shock(recordings: int) -> None:
    """How far a harder or other shock moves what is said of the time before it, in stated sigmas."""
    usual = scene.draw_shot
    rows: list[tuple[object, ...]] = []
    for bow, sensor in KINDS:
        for rate_hz in (1000.0, 4000.0):
            for name, size, pitch in (("10 x size", 10.0, 1.0), ("1.4 x frequency", 1.0, 1.4), ("0.7 x", 1.0, 0.7)):

                def other(*a: Any, size: float = size, pitch: float = pitch, **k: Any) -> Any:
                    shot = usual(*a, **k)
                    knock = replace(
                        shot.brace_knock,
                        accel_m_s2=shot.brace_knock.accel_m_s2 * size,
                        rate_rad_s=shot.brace_knock.rate_rad_s * size,
                        frequency_hz=shot.brace_knock.frequency_hz * pitch,
                    )
                    return replace(shot, brace_knock=knock)

                by: dict[str, list[float]] = {}
                for scenario in scenarios(recordings, bow=bow, sensor=sensor, rate_hz=rate_hz):
                    with recorded(scenario) as (path, _):
                        before = analyse_path(str(path))
                    with instead(scene, "draw_shot", other), recorded(scenario) as (path, _):
                        after = analyse_path(str(path))
                    for key, values in moved_by(before, after).items():
                        by.setdefault(key, []).extend(values)
                rows.append((f"{bow}, {sensor}", int(rate_hz), name, *[spread(values) for values in by.values()]))
    told(
        "A harder or other shock: figures moved, in their stated sigma, median / 95th percentile",
        "bow, sensor | Hz | shock | release | departure | rotation | rate",
        rows,
    )


def stiffness(recordings: int) -> None:
    """How well the hand's stiffness and damping can be told at all."""
    rows: list[tuple[object, ...]] = []
    for habit in ("quiet", "grip_torque", "dropping_arm", "tense"):
        for sensor in ("good", "cheap"):
            ratio: dict[str, list[float]] = {"cant": [], "pitch": [], "yaw": []}
            inside, damping, asked = [], [], 0
            for scenario in scenarios(recordings, habit=habit, sensor=sensor, rate_hz=2000.0):
                for true, shot in pairs_of(scenario):
                    follow = shot.follow_through
                    for axis, values in ratio.items():
                        asked += 1
                        got = getattr(follow.hand_stiffness_nm_rad, axis)
                        if got is None:
                            continue
                        size = getattr(true.hand_stiffness_nm_rad, axis)
                        values.append(got / size - 1)
                        sigma = getattr(follow.hand_stiffness_sigma_nm_rad, axis)
                        inside.append(abs(got - size) < 2 * sigma)
                        damping.append(getattr(follow.damping_ratio, axis) - getattr(true.damping_ratio, axis))
            off = [x for values in ratio.values() for x in values]
            said = len(off)
            rows.append(
                (
                    f"{habit}, {sensor}",
                    f"{said} of {asked}",
                    " / ".join(str(len(values)) for values in ratio.values()),
                    f"{100 * float(np.median(np.abs(off))):.0f} %" if said else "none",
                    f"{100 * float(np.mean(off)):+.0f} %" if said else "none",
                    f"{100 * float(np.mean(inside)):.0f} %" if said else "none",
                    f"{float(np.median(np.abs(damping))):.2f}" if said else "none",
                )
            )
    told(
        "The hand's stiffness",
        "habit, sensor | told | cant / pitch / yaw | median error | mean error | inside 2 s | damping ratio's error",
        rows,
    )


def mount(recordings: int) -> None:
    """What a soft mount does to the window, and what its ringing tells of it."""
    rows: list[tuple[object, ...]] = []
    for hz in (25.0, 40.0, 60.0, 90.0, 130.0, 200.0, 340.0):
        off, found, warned, shots = [], [], 0, 0
        for scenario in scenarios(recordings, mount_hz=hz, rate_hz=2000.0):
            for true, shot in pairs_of(scenario):
                shots += 1
                off += list((shot.at_departure.rotation_deg.array() - true.rotation_deg.array()) * 1e3)
                found.append(shot.follow_through.mount_mode_hz or np.nan)
                warned += any("seat rings" in note for note in shot.notes)
        sound = np.array(found)[np.isfinite(found)]
        middle = f"{np.median(sound):.0f} ({np.percentile(sound, 10):.0f} to {np.percentile(sound, 90):.0f})"
        rows.append((int(hz), spread(off), middle if len(sound) else "none", f"{warned} of {shots}"))
    told(
        "A soft mount: rotation's error in mdeg, and the mode read off the ringing",
        "mount, Hz | rotation, median / 95th percentile | mode found, Hz (10 to 90 %) | warned",
        rows,
    )


def times(recordings: int) -> None:
    """An interval as long as a time on the string, by the fitted times and by the nominal rate."""
    rows: list[tuple[object, ...]] = []
    for sensor in ("good", "cheap"):
        fitted: list[float] = []
        nominal: list[float] = []
        for scenario in scenarios(recordings, sensor=sensor, rate_hz=1000.0):
            with recorded(scenario) as (path, truth):
                blocks = list(open_motion(path))
            index = np.concatenate([b.index for b in blocks])
            time_s = np.concatenate([b.time_s for b in blocks])
            for true in truth.shots:
                at, span = int(np.searchsorted(time_s, true.release_s)), round(true.time_on_string_s * 1000)
                # the true spacing of samples by their own ticks over four seconds around the shot
                low, high = max(at - 2000, 0), min(at + 2000, len(time_s) - 1)
                true_period = (time_s[high] - time_s[low]) / (index[high] - index[low])
                fitted.append(1e6 * ((time_s[at + span] - time_s[at]) - span * true_period))
                nominal.append(1e6 * (span / 1000 - span * true_period))
        rows.append((sensor, spread(fitted), spread(nominal)))
    told("An interval of a time on the string, error in us", "sensor | by the fit | by the nominal rate", rows)


def rattle(recordings: int) -> None:
    """Shots still found where everything later than some time after the departure is made louder."""
    rows: list[tuple[object, ...]] = []
    for factor in (2.0, 3.0, 5.0, 10.0):
        cells = []
        for after_s in (0.008, 0.012, 0.016, 0.020, 0.030):
            found = shots = 0
            for bow, sensor in KINDS:
                for scenario in scenarios(recordings, bow=bow, sensor=sensor, rate_hz=2000.0):
                    with recorded(scenario) as (path, truth):
                        blocks = list(open_motion(path))
                    follower = ShotFollower()
                    for block in blocks:
                        size = np.ones(len(block))
                        for true in truth.shots:
                            since = block.time_s - true.departure_s
                            size[(since > after_s) & (since < 0.12)] = factor
                        force = block.specific_force_m_s2 * size[:, None]
                        found += count(follower.follow(replace(block, specific_force_m_s2=force)))
                    found += count(follower.finish())
                    shots += len(truth.shots)
            cells.append(f"{found} of {shots}")
        rows.append((factor, *cells))
    told("Shots found where all is louder from then on", "times | 8 ms | 12 ms | 16 ms | 20 ms | 30 ms", rows)


def count(results: list[Any]) -> int:
    return sum(isinstance(result, Shot) for result in results)


def rates(recordings: int) -> None:
    """What is common to all shots, and what scatters, at each rate."""
    rows: list[tuple[object, ...]] = []
    for bow, sensor in KINDS:
        for rate_hz in (1000.0, 2000.0, 4000.0, 8000.0):
            by: dict[str, list[tuple[float, float]]] = {"release, ms": [], "departure, ms": [], "struck, mdeg yaw": []}
            for scenario in scenarios(recordings, bow=bow, sensor=sensor, rate_hz=rate_hz, habit="quiet"):
                for true, shot in pairs_of(scenario):
                    for row in rows_of(true, shot):
                        if row.measure in by:
                            by[row.measure].append((row.error, row.sigma))
            cells = []
            for values in by.values():
                error, sigma = np.array(values).T
                cells.append(f"{np.mean(error):+.2f} +- {np.std(error):.2f} ({np.median(sigma):.2f})")
            rows.append((f"{bow}, {sensor}", int(rate_hz), *cells))
    told(
        "Errors: mean +- standard deviation (median stated sigma), a quiet archer",
        "bow, sensor | Hz | release, ms | departure, ms | struck yaw, mdeg",
        rows,
    )


SECTIONS: dict[str, Callable[[int], None]] = {
    "rotation": rotation,
    "timing": instants,
    "shock": shock,
    "stiffness": stiffness,
    "mount": mount,
    "times": times,
    "rattle": rattle,
    "rates": rates,
}


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("sections", nargs="*", choices=[*SECTIONS, []], default=list(SECTIONS))
    options.add_argument("--recordings", type=int, default=6, help="of 5 shots, for each row")
    asked = options.parse_args()
    for name in asked.sections or SECTIONS:
        SECTIONS[name](asked.recordings)


if __name__ == "__main__":
    main()
