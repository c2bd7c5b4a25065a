"""Time and memory to analyse whole recordings, against real time and against the floor of parsing their bytes.

Run `python tests/bench/bench_analyse.py [--minutes 10 60]`. Recordings of invented shooting at 4 kHz are made once in a
temporary folder; each is analysed by the program as a user runs it, in a process of its own, start-up included.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from bench_parse import floor
from quiethand.emulator.recording import write_recording
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.setup_document import setup_document, setup_toml

RATE_HZ = 4000


@dataclass(frozen=True)
class Run:
    """One analysis as a whole process."""

    shots: int
    truth: int
    processor_s: float
    wall_s: float
    peak_mb: float


def analyse(path: Path, setup: Path, truth: int) -> Run:
    command = [sys.executable, "-m", "quiethand", "analyse", str(path), "--setup", str(setup), "--format", "json"]
    started = time.perf_counter()
    with tempfile.TemporaryFile() as out:
        child = subprocess.Popen(command, stdout=out)
        _, status, usage = os.wait4(child.pid, 0)
        wall = time.perf_counter() - started
        if os.waitstatus_to_exitcode(status) not in (0, 1):
            sys.exit(f"analyse ended with {os.waitstatus_to_exitcode(status)}")
        out.seek(0)
        shots = len(json.load(out)["shots"])
    child.returncode = 0  # reaped above
    return Run(shots, truth, usage.ru_utime + usage.ru_stime, wall, usage.ru_maxrss / 1024)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--minutes", type=float, nargs="+", default=[1, 10, 60])
    minutes = options.parse_args().minutes
    widths = (12, 9, 12, 12, 9, 12, 9, 10)
    headings = ("recording", "size", "shots", "processor", "wall", "real time", "floor", "peak")
    print("".join(f"{heading:>{width}}" for heading, width in zip(headings, widths, strict=True)))
    with tempfile.TemporaryDirectory() as folder:
        for length in minutes:
            path, setup = Path(folder) / f"{length:g}min.qhr", Path(folder) / "setup.toml"
            scenario = Scenario(seed=11, rate_hz=RATE_HZ)
            setup.write_text(setup_toml(setup_document(scenario)), encoding="utf-8")
            truth = write_recording(path, scenario, duration_s=length * 60)
            run = analyse(path, setup, len(truth.shots))
            data = path.read_bytes()
            started = time.process_time()
            floor(data)
            floor_s = time.process_time() - started
            print(
                f"{length:>8g} min{len(data) / 1e6:>6.0f} MB{run.shots:>5} of {run.truth:<4}{run.processor_s:>10.2f} s"
                f"{run.wall_s:>7.2f} s{length * 60 / run.processor_s:>11,.0f}x{run.processor_s / floor_s:>8.2f}x"
                f"{run.peak_mb:>7.0f} MB"
            )
            path.unlink()
    print("real time: the recording's length over processor time; floor: processor time over that of the parsing floor")


if __name__ == "__main__":
    main()
