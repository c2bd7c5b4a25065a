"""Real motion of other kinds holds no shot: sensor logs that general packages carry for their own tests.

The packages are fetched by pip into the user's cache folder, unpacked and never installed; none of their data is kept
in this project. scikit-kinematics 0.10.4 (BSD-3-Clause): hand, leg and desk logs of six makes of sensor at 50 to 256
Hz. gaitmap 2.6.0 (MIT): feet of walkers, healthy and ill, level and on stairs, at 102.4 and 204.8 Hz.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from absent import ABSENT
from numpy.typing import NDArray
from platformdirs import user_cache_path
from quiethand.analysis import Report, analyse_path

G = 9.80665
WAIT_S = 120
MOST_ROWS = 12000
HASHES = {
    "scikit-kinematics==0.10.4": "8433f469dd95d0398ca1297f94be419b8873ceb7e510832c7ce3754400d0c7d9",
    "gaitmap==2.6.0": "0312a3fd8c8741afc607cda1b56e6b297416ceb6bc544dfbfaa6af2278478f2c",
}
FILES = {
    "scikit-kinematics==0.10.4": "scikit_kinematics-0.10.4-py3-none-any.whl",
    "gaitmap==2.6.0": "gaitmap-2.6.0.tar.gz",
}
Motion = tuple[NDArray[np.float64], NDArray[np.float64]]  # times (n,) in s; ax ay az in m/s2, gx gy gz in rad/s (n, 6)


def fetched(requirement: str) -> Path:
    """The package's file; where it cannot be had the test skips and says so."""
    path, why = sought(requirement)
    if path is None:
        pytest.skip(f"{ABSENT}{requirement} cannot be fetched: {why}")
    return path


@cache
def sought(requirement: str) -> tuple[Path | None, str]:
    """From the cache or by pip, else why not; asked once, or every test would wait for the network."""
    folder = user_cache_path("quiethand-tests")
    path = folder / FILES[requirement]
    if path.is_file():
        return path, ""
    name = requirement.split("==")[0]
    source = ["--no-binary", name] if path.name.endswith(".tar.gz") else []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        wanted = folder / f"{name}.txt"
        wanted.write_text(f"{requirement} --hash=sha256:{HASHES[requirement]}\n", encoding="ascii")
        command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", *source, "-d", str(folder)]
        done = subprocess.run([*command, "-r", str(wanted)], capture_output=True, text=True, timeout=WAIT_S)
    except (OSError, subprocess.TimeoutExpired) as why:
        return None, str(why)
    if done.returncode != 0 or not path.is_file():
        return None, (done.stderr.strip().splitlines() or ["pip says nothing"])[-1]
    return path, ""


@cache
def wheel(name: str) -> str:
    with zipfile.ZipFile(fetched("scikit-kinematics==0.10.4")) as file:
        return file.read(f"tests/data/{name}").decode()


@cache
def source(requirement: str, name: str) -> str:
    with tarfile.open(fetched(requirement)) as file:
        member = file.extractfile(f"{requirement.replace('==', '-')}/{name}")
        assert member is not None
        return member.read().decode()


def numbers(text: str, skip: int, separator: str | None = ",") -> NDArray[np.float64]:
    """Rows of numbers below a head."""
    rows = io.StringIO(text)
    table: NDArray[np.float64] = np.loadtxt(rows, comments=None, delimiter=separator, skiprows=skip, max_rows=MOST_ROWS)
    assert len(table) > 100
    return table


def joined(time_s: NDArray[np.float64], force: NDArray[np.float64], rate: NDArray[np.float64]) -> Motion:
    values = np.hstack((force, rate))
    sound = np.isfinite(values).all(axis=1) & np.append(True, np.diff(time_s) > 0)
    return time_s[sound] - time_s[sound][0], values[sound]


def even(force: NDArray[np.float64], rate: NDArray[np.float64], rate_hz: float) -> Motion:
    return joined(np.arange(len(force)) / rate_hz, force, rate)


def xsens(name: str, rate_hz: float) -> Motion:
    table = numbers(wheel(name), 5, None)
    return even(table[:, 1:4], table[:, 4:7], rate_hz)


def xio() -> Motion:
    """Packet numbers stand for time: at 256 Hz by the log's own register."""
    table = numbers(wheel("data_xio/00033_CalInertialAndMag.csv"), 1)
    return joined(table[:, 0] / 256.0, table[:, 4:7] * G, np.radians(table[:, 1:4]))


def timed(name: str, per_s: float) -> Motion:
    table = numbers(wheel(name), 1)
    return joined(table[:, 0] / per_s, table[:, 4:7] * G, np.radians(table[:, 1:4]))


def yei() -> Motion:
    table = numbers(wheel("data_yei.txt"), 1)
    return joined(table[:, 0] / 1e6, table[:, 7:10] * G, table[:, 1:4])


def foot(name: str, side: int, rate_hz: float = 204.8, *, interleaved: bool = False, head: int = 2) -> Motion:
    """One foot: six columns of `side`, which lie in a row or, in some files, in turns with the other foot's."""
    table = numbers(source("gaitmap==2.6.0", f"example_data/{name}"), head)
    columns = 1 + (np.arange(6) * 2 + side if interleaved else np.arange(6) + 6 * side)
    return even(table[:, columns[:3]], np.radians(table[:, columns[3:]]), rate_hz)


def patient(name: str) -> Motion:
    table = numbers(source("gaitmap==2.6.0", f"example_data/{name}"), 1)
    return even(table[:, 2:5], np.radians(table[:, 5:8]), 102.4)


def walks() -> Motion:
    table = numbers(source("gaitmap==2.6.0", "example_data/aligned_data_with_mag_l_walks.csv"), 1)
    return even(table[:, 1:4], np.radians(table[:, 4:7]), 204.8)


def analysed(folder: Path, motion: Motion) -> Report:
    path = folder / "motion.csv"
    time_s, values = motion
    head = "t_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s"
    np.savetxt(path, np.column_stack((time_s, values)), fmt="%.7g", delimiter=",", header=head, comments="")
    return analyse_path(str(path))


LOGS: dict[str, Callable[[], Motion]] = {
    "lower leg, walking": lambda: xsens("data_xsens2.txt", 120.0),
    "upper leg, walking": lambda: xsens("walking_xsens_upperLeg.txt", 120.0),
    "hand, 50 Hz": lambda: xsens("data_xsens.txt", 50.0),
    "hand, 256 Hz": xio,
    "hand, 50 Hz, another make": lambda: timed("data_ngimu/sensors.csv", 1.0),
    "desk": lambda: timed("data_xio3/Inertial.csv", 1e6),
    "hand, 110 Hz": yei,
    "left foot": lambda: foot("imu_sample.csv", 0, interleaved=True),
    "right foot": lambda: foot("imu_sample.csv", 1, interleaved=True),
    "down stairs, left": lambda: foot("imu_sample_healthy_stair_down.csv", 0),
    "down stairs, right": lambda: foot("imu_sample_healthy_stair_down.csv", 1),
    "up stairs, left": lambda: foot("imu_sample_healthy_stair_up.csv", 0),
    "up stairs, right": lambda: foot("imu_sample_healthy_stair_up.csv", 1),
    "patient, left": lambda: patient("imu_sample_ms_left.csv"),
    "patient, right": lambda: patient("imu_sample_ms_right.csv"),
    "a minute of walks": walks,
}


@pytest.mark.parametrize("name", LOGS)
@pytest.mark.parametrize("quicker", [1.0, 5.0], ids=["as recorded", "five times as quick"])
def test_other_motion_holds_no_shot(name: str, quicker: float, tmp_path: Path) -> None:
    """Played five times as quick a step's shock is as short as a bow's, at the rates that a bow's sensor has."""
    time_s, values = LOGS[name]()
    report = analysed(tmp_path, (time_s / quicker, values))
    assert report.facts.samples == len(time_s)
    assert [shot.departure_s for shot in report.shots] == []
