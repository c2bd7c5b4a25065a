"""The mount from two still poses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from kitchen_table import Sensor, poses, record
from quiethand.bow.setup_file import read_setup
from quiethand.calibrate.mounting import HELD_SIGMA_DEG, mount_from_poses, quaternion_from_matrix
from scipy.spatial.transform import Rotation

LEVEL, NOSE_DOWN = (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0)  # which way is up, bow frame


def in_sensor(mount: Rotation, up: tuple[float, float, float]) -> tuple[float, float, float]:
    x, y, z = mount.inv().apply(up)
    return (float(x), float(y), float(z))


@pytest.mark.parametrize("seed", range(30))
def test_any_turn_comes_back(seed: int) -> None:
    mount = Rotation.random(rng=np.random.default_rng(seed))
    found, residual = mount_from_poses(np.array(in_sensor(mount, LEVEL)), np.array(in_sensor(mount, NOSE_DOWN)))
    assert (Rotation.from_quat(found).inv() * mount).magnitude() < 1e-12
    assert found[3] >= 0
    assert abs(residual) < 1e-10
    assert quaternion_from_matrix(mount.as_matrix()) == pytest.approx(found, abs=1e-12)


def test_the_residual_is_shared_between_the_poses() -> None:
    """Nose down by 86 deg in place of 90: two degrees of pitch are laid to either pose."""
    up = Rotation.from_euler("y", 4, degrees=True).apply(NOSE_DOWN)
    found, residual = mount_from_poses(np.array(LEVEL), up)
    assert residual == pytest.approx(4.0 if up[2] < 0 else -4.0, abs=1e-9)
    assert np.rad2deg(Rotation.from_quat(found).magnitude()) == pytest.approx(2.0, abs=1e-9)
    assert found[[0, 2]] == pytest.approx([0, 0], abs=1e-12)


def test_held_by_hand_it_is_as_good_as_stated() -> None:
    """Each pose held half a degree out about each axis: the mount's error about each axis over its sigma."""
    rng = np.random.default_rng(5)
    off = []
    for _ in range(400):
        mount = Rotation.random(rng=rng)
        held = Rotation.from_rotvec(np.deg2rad(HELD_SIGMA_DEG) * rng.standard_normal((2, 3)))
        seen = [in_sensor(mount, tuple(h.apply(up))) for h, up in zip(held, (LEVEL, NOSE_DOWN), strict=True)]
        found, residual = mount_from_poses(np.array(seen[0]), np.array(seen[1]))
        sigma = np.hypot(HELD_SIGMA_DEG, residual / 2)
        off.append(np.rad2deg((Rotation.from_quat(found) * mount.inv()).as_rotvec()) / sigma)
    assert 0.6 < np.sqrt(np.mean(np.square(off))) < 1.1


def test_into_the_setup_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor(accel_offset_m_s2=(0, 0, 0))
    mount = Rotation.from_euler("xyz", [90, 3, 178], degrees=True)
    ups = [in_sensor(mount, LEVEL), in_sensor(mount, NOSE_DOWN)]
    path = record(tmp_path / "poses.qhr", sensor, *poses(sensor, ups, 4.0))
    setup = tmp_path / "bow.toml"
    setup.write_text('[sensor]\nmount = [0, 0, 0, 1] # as glued\ngyro_delay = "1 ms"\n')
    ran = run(capsys, "calibrate", "mount", path, "--setup", setup)
    assert ran.status == 0, ran.err
    stated = read_setup(setup).sensor
    assert stated.mount is not None
    assert np.rad2deg((Rotation.from_quat(stated.mount).inv() * mount).magnitude()) < 0.1
    assert stated.gyro_delay_s == pytest.approx(1e-3)


@pytest.mark.parametrize(
    ("ups", "says"),
    [
        ([LEVEL], "1 still poses"),
        ([LEVEL, NOSE_DOWN, (0.0, 1.0, 0.0)], "3 still poses"),
        ([LEVEL, (-1.0, 0.0, 1.0)], "45.0 deg"),
    ],
)
def test_other_poses_are_refused(
    ups: list[tuple[float, float, float]], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sensor = Sensor(accel_offset_m_s2=(0, 0, 0))
    path = record(tmp_path / "poses.qhr", sensor, *poses(sensor, ups, 3.0))
    line = refused(run(capsys, "calibrate", "mount", path, "--dry-run"))
    assert says in line
    assert "nose straight down" in line
