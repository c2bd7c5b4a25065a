"""What is told while a calibration is recorded: it moves from nothing to enough as the recording grows."""

from __future__ import annotations

from pathlib import Path

import kitchen_table as table
import numpy as np
from quiethand.bow.model import Setup
from quiethand.calibrate.cells import cells_of
from quiethand.calibrate.feedback import Feedback, feedback
from quiethand.motion.stream import MotionStream

SENSOR = table.Sensor()


def course(kind: str, motion: tuple[table.Floats, table.Floats], tmp_path: Path, every_s: float) -> list[Feedback]:
    """What is told each so many seconds, of the recording so far."""
    data = table.record(tmp_path / "growing.qhr", SENSOR, *motion).read_bytes()
    piece = round(len(data) * every_s * SENSOR.rate_hz / len(motion[0]))
    stream, blocks, told = MotionStream(Setup(), "recording"), [], []
    for at in range(0, len(data), piece):
        blocks += stream.feed(data[at : at + piece])
        if blocks:
            told.append(feedback(kind, cells_of(blocks)))
    return told


def joined(*parts: tuple[table.Floats, table.Floats]) -> tuple[table.Floats, table.Floats]:
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def test_still(tmp_path: Path) -> None:
    motion = joined(table.trembling(SENSOR, 4.0, 3), table.lying(SENSOR, 36.0))
    told = course("still", motion, tmp_path, 2.0)
    assert "It moves" in told[0].words
    assert told[0].still_s == 0.0
    middle = next(one for one in told if one.still_s > 6)
    assert not middle.enough
    assert [step.done for step in middle.steps] == [False, False]
    assert "Keep your hands off" in middle.words
    assert told[-1].enough
    assert all(step.done for step in told[-1].steps)


def test_six_faces(tmp_path: Path) -> None:
    told = course("six-face", table.poses(SENSOR, table.SIX), tmp_path, 2.0)
    done = [sum(step.done for step in one.steps) for one in told]
    assert done == sorted(done)
    assert done[-1] == 6
    assert told[-1].enough
    assert "edges" in told[-1].words
    assert "z axis down" in told[len(told) // 2].words


def test_mount(tmp_path: Path) -> None:
    told = course("mount", table.poses(SENSOR, [(0, 0, 1), (-1, 0, 0)], seconds=5.0), tmp_path, 1.0)
    assert "level and upright" in told[0].words or told[0].still_s > 0
    assert any(one.steps[0].done and not one.steps[1].done for one in told)
    assert told[-1].enough
    assert "90" in told[-1].words or "89" in told[-1].words


def test_swings(tmp_path: Path) -> None:
    told = course("inertia", table.swinging(SENSOR, table.Hung(), 40.0), tmp_path, 4.0)
    assert "No swings" in told[0].words
    assert told[-1].enough
    counts = [float(one.words.split()[0]) for one in told if one.words[0].isdigit()]
    assert counts == sorted(counts)
    assert counts[-1] >= 7


def test_how_level_it_lies_and_which_axis_it_hangs_for(tmp_path: Path) -> None:
    """The stated mount is a turn of 90 deg about x: the sensor's y axis is up on a level bow."""
    mount = (np.sqrt(0.5), 0.0, 0.0, np.sqrt(0.5))
    angle = np.deg2rad(12.0)
    for kind, up, said in (
        ("still", (0, np.cos(angle), np.sin(angle)), "It lies 12 deg off"),
        ("still", (0, 0, 1), "It lies 90 deg off"),
        ("inertia", (0, -1, 0), "It hangs for yaw, 0 deg off"),
        ("inertia", (0, 0, 1), "It hangs for pitch, 0 deg off"),
        ("inertia", (1, 0, 0), "It hangs for cant, 0 deg off"),
    ):
        path = table.record(tmp_path / "lies.qhr", quiet(), *table.lying(SENSOR, 6.0, up))
        cells = cells_of(MotionStream(Setup(), "recording").feed(path.read_bytes()))
        assert said in feedback(kind, cells, mount).words
        assert "deg off" not in feedback(kind, cells).words


def quiet() -> table.Sensor:
    return table.Sensor(accel_offset_m_s2=(0.0, 0.0, 0.0))
