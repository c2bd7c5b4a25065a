"""Offset, scale and cross-axis from still poses: true within what is stated, refused where poses do not tell them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from kitchen_table import EDGES, SIX, G, Sensor, lying, poses, record, turning
from quiethand.bow.setup_file import read_setup
from quiethand.calibrate.faces import fit_faces
from quiethand.errors import InputError
from scipy.linalg import sqrtm
from scipy.spatial.transform import Rotation

GAIN = np.array([[1.01, 0.002, -0.003], [0.001, 0.99, 0.004], [0.0, -0.002, 1.005]])
OFFSET = (0.12, -0.20, 0.15)
# |A f| says nothing of a turn of A: of all matrices that make lengths right the symmetric one is stated
SYMMETRIC = np.real(sqrtm(np.linalg.inv(GAIN @ GAIN.T)))


def readings(ups: list[tuple[float, float, float]], rng: np.random.Generator | None = None) -> np.ndarray:
    """What the specimen shows lying with `ups` upwards, faces a degree or two out of true, 3 mm/s2 of pose error."""
    unit = np.array(ups) / np.linalg.norm(ups, axis=1, keepdims=True)
    size = np.full(len(ups), G)
    if rng is not None:
        unit = Rotation.from_rotvec(np.deg2rad(1.5) * rng.standard_normal((len(ups), 3))).apply(unit)
        size = size + 0.003 * rng.standard_normal(len(ups))
    return (unit * size[:, None]) @ GAIN.T + OFFSET


def test_exact_poses_give_the_exact_answer() -> None:
    result = fit_faces(readings(SIX + EDGES), np.full(12, 1e-4))
    assert result.cross_told
    # the 1 % that cross-axis is expected to be beforehand pulls by a thousandth of itself
    assert result.offset_m_s2 == pytest.approx(OFFSET, abs=1e-4)
    assert result.matrix == pytest.approx(SYMMETRIC, abs=1e-5)
    assert np.abs(result.residual_m_s2).max() < 1e-4


@pytest.mark.parametrize("ups", [SIX, SIX + EDGES, SIX + SIX + EDGES])
def test_true_within_what_is_stated(ups: list[tuple[float, float, float]]) -> None:
    off: list[np.ndarray] = []
    cross: list[np.ndarray] = []
    for seed in range(150):
        result = fit_faces(readings(ups, np.random.default_rng(seed)), np.full(len(ups), 1e-4))
        off.append((result.offset_m_s2 - OFFSET) / result.offset_sigma_m_s2)
        off.append((np.diag(result.matrix) - np.diag(SYMMETRIC)) / result.scale_sigma)
        if result.cross_told:
            cross.append((result.matrix - SYMMETRIC)[[0, 0, 1], [1, 2, 2]] / result.cross_sigma)
    # cross-axis that six poses leave open is counted at 1 %, more than this specimen has
    assert (0.4 if len(ups) == 6 else 0.7) < np.sqrt(np.mean(np.square(off))) < 1.25
    assert np.mean(np.abs(off) < 2) > 0.90
    assert bool(cross) == (len(ups) > 6)
    if cross:
        assert 0.7 < np.sqrt(np.mean(np.square(cross))) < 1.25


@pytest.mark.parametrize("gone", range(6))
def test_the_missing_face_is_named(gone: int) -> None:
    words = [f"{axis} axis {way}" for axis in "xyz" for way in ("up", "down")]
    left = [up for i, up in enumerate(SIX) if i != gone]
    with pytest.raises(InputError, match=f"no pose with the {words[gone]};"):
        fit_faces(readings(left, np.random.default_rng(gone)), np.full(5, 1e-3))


def test_six_times_the_same_face_tells_nothing() -> None:
    with pytest.raises(InputError, match="the x axis down"):
        fit_faces(readings([(1.0, 0, 0)] * 6), np.full(6, 1e-3))


def test_poses_that_disagree_are_refused() -> None:
    force = readings(SIX + EDGES)
    force[7] *= 1.06  # still moving when it was taken for still
    with pytest.raises(InputError, match="do not agree"):
        fit_faces(force, np.full(12, 1e-3))


def test_a_wrong_scale_is_refused() -> None:
    with pytest.raises(InputError, match="no sensor is that far off"):
        fit_faces(readings(SIX + EDGES) * 0.6, np.full(12, 1e-3))


def test_from_recordings_into_the_setup_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor(accel_gain=GAIN, accel_offset_m_s2=OFFSET)
    one = record(tmp_path / "faces.qhr", sensor, *poses(sensor, SIX, 2.0), seed=1)
    two = record(tmp_path / "edges.qhr", sensor, *poses(sensor, EDGES, 2.0), seed=2)
    setup = tmp_path / "bow.toml"
    setup.write_text("[sensor]\n")
    ran = run(capsys, "calibrate", "six-face", one, two, "--setup", setup)
    assert ran.status == 0, ran.err
    assert "12 still poses" in ran.out
    stated = read_setup(setup).sensor
    assert stated.accel_offset_m_s2 == pytest.approx(OFFSET, abs=0.006)
    assert np.array(stated.accel_matrix) == pytest.approx(SYMMETRIC, abs=0.001)
    # and used: gravity comes out right in a pose that was not among them
    tilted = record(tmp_path / "tilted.qhr", sensor, *lying(sensor, 15, (0.3, -0.5, 0.8)))
    said = run(capsys, "calibrate", "still", tilted, "--setup", setup, "--dry-run").out
    assert "% of standard gravity" in said
    assert "run 'calibrate six-face'" in said  # `still` shows the sensor as it is, whatever is stated
    from quiethand.link.files import open_motion

    force = np.concatenate([b.specific_force_m_s2 for b in open_motion(tilted, read_setup(setup))]).mean(axis=0)
    assert np.linalg.norm(force) == pytest.approx(G, abs=0.006)


def test_six_faces_alone_leave_the_cross_axis_open(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor(accel_gain=GAIN)
    path = record(tmp_path / "faces.qhr", sensor, *poses(sensor, SIX, 2.0))
    ran = run(capsys, "calibrate", "six-face", path, "--dry-run")
    assert ran.status == 0
    assert "cross-axis: not told" in ran.out


def test_a_recording_without_a_still_pose_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor()
    course = [Rotation.from_euler("y", a, degrees=True) for a in (0, 90, 180)]
    parts = [turning(sensor, course[0], course[1], 3.0), turning(sensor, course[1], course[2], 3.0)]
    path = record(tmp_path / "turned.qhr", sensor, *(np.concatenate([p[k] for p in parts]) for k in (0, 1)))
    line = refused(run(capsys, "calibrate", "six-face", path, "--dry-run"))
    assert "turned.qhr: holds no still pose" in line
