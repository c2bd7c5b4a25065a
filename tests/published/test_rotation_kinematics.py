"""Frames, rotation, lever arm and six faces against values from outside of the program.

Where no source is named the value is computed from the definitions beside it (right-hand rule; closed forms).
"""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.bow.model import SensorSetup
from quiethand.motion.calibration import Scales, calibration
from quiethand.motion.kinematics import cant_pitch, lever_arm_acceleration
from quiethand.motion.rotation import (
    matrix_from_quaternion,
    quaternion_from_vector,
    quaternion_product,
    rotation,
    rotation_curve,
    vector_from_quaternion,
)
from scipy.spatial.transform import Rotation

G = 9.80665  # standard gravity, exact by definition (scipy.constants.g)


def deg(x: object) -> np.ndarray:
    return np.rad2deg(np.asarray(x, dtype=np.float64))


def turn(axis: int, degrees: float) -> np.ndarray:
    vector = np.zeros(3)
    vector[axis] = np.deg2rad(degrees)
    return matrix_from_quaternion(quaternion_from_vector(vector))


# The right-hand rule: x forward, y left, z up.
@pytest.mark.parametrize(
    ("axis", "moves", "to"),
    [
        (0, (0, 0, 1), (0, -1, 0)),  # + about x takes up to the right: top limb to the archer's right
        (1, (1, 0, 0), (0, 0, -1)),  # + about y takes forward down: nose down
        (2, (1, 0, 0), (0, 1, 0)),  # + about z takes forward to the left: nose left
    ],
)
def test_right_hand_rule(axis: int, moves: tuple[int, ...], to: tuple[int, ...]) -> None:
    assert turn(axis, 90) @ np.array(moves) == pytest.approx(np.array(to), abs=1e-12)


@pytest.mark.parametrize(
    ("axis", "force", "cant", "pitch"),
    [
        (0, (0, 1.702907, 9.657665), 10, 0),
        (1, (-1.702907, 0, 9.657665), 0, 10),
        (2, (0, 0, G), 0, 0),  # yaw changes nothing
    ],
)
def test_gravity_at_rest(axis: int, force: tuple[float, ...], cant: float, pitch: float) -> None:
    """A bow turned by 10 deg about one axis alone reads R^T (0, 0, g)."""
    read = turn(axis, 10).T @ np.array([0, 0, G])
    assert read == pytest.approx(np.array(force), abs=1e-6)
    assert deg(cant_pitch(read)) == pytest.approx([cant, pitch], abs=1e-9)


@pytest.mark.parametrize("rate_hz", [200, 777, 1_000, 4_000, 8_000])
def test_constant_rate_is_exact_at_any_sample_rate(rate_hz: int) -> None:
    """(30, -40, 120) deg/s for 15 ms is (0.45, -0.6, 1.8) deg."""
    time = np.arange(0, 0.05, 1 / rate_hz) - 0.011
    rate = np.deg2rad(np.tile([30.0, -40.0, 120.0], (len(time), 1)))
    assert deg(rotation(time, rate, 0.00137, 0.01637)) == pytest.approx([0.45, -0.6, 1.8], abs=1e-9)


def test_a_rising_rate_about_one_axis() -> None:
    """0 to 20 deg/s in 15 ms is 0.15 deg. Left sums, the variant not taken, give 0.14 at 1 kHz."""
    time = np.arange(16) / 1000
    rate = np.zeros((16, 3))
    rate[:, 2] = np.deg2rad(20 / 0.015 * time)
    assert deg(rotation(time, rate, 0, 0.015))[2] == pytest.approx(0.15, abs=1e-9)
    assert deg(rate[:-1, 2].sum() / 1000) == pytest.approx(0.14, abs=1e-9)


@pytest.mark.parametrize("rate_hz", [500, 1_000, 4_000])
def test_axes_that_turn_together_make_a_third(rate_hz: int) -> None:
    """Rates (600, 0, 60000 t) deg/s for 15 ms: (8.997916, -0.176811, 6.750000) deg, one unit of the last digit.

    Axes integrated apart, the variant not taken, have no y part at all.
    """
    time = np.arange(round(0.015 * rate_hz) + 3) / rate_hz
    rate = np.deg2rad(np.stack([np.full_like(time, 600), np.zeros_like(time), 60_000 * time], axis=1))
    assert deg(rotation(time, rate, 0, 0.015)) == pytest.approx([8.997916, -0.176811, 6.750000], abs=1e-6)


def test_it_agrees_with_scipy_in_small_steps() -> None:
    """The same motion by scipy.spatial.transform.Rotation, composed of 30,000 midpoint steps."""
    h = 0.015 / 30_000
    middles = (np.arange(30_000) + 0.5) * h
    steps = np.deg2rad(np.stack([np.full_like(middles, 600), np.zeros_like(middles), 60_000 * middles], axis=1)) * h
    whole = Rotation.identity()
    for step in np.array_split(steps, 300):
        for vector in step:
            whole = whole * Rotation.from_rotvec(vector)
    time = np.arange(20) / 1000
    rate = np.deg2rad(np.stack([np.full_like(time, 600), np.zeros_like(time), 60_000 * time], axis=1))
    assert rotation(time, rate, 0, 0.015) == pytest.approx(whole.as_rotvec(), abs=1e-9)


# Coning, the classical test motion of strapdown attitude (J. E. Bortz, IEEE Trans. AES 7, 1971; R. B. Miller, J.
# Guidance 6, 1983; derived from q = (cos a, 0, sin a cos Wt, sin a sin Wt), a = A/2).
CONE, W = np.deg2rad(5.0), 2 * np.pi * 50


def coning(time: np.ndarray) -> np.ndarray:
    x = np.full_like(time, -W * (1 - np.cos(CONE)))
    return np.stack([x, -W * np.sin(CONE) * np.sin(W * time), W * np.sin(CONE) * np.cos(W * time)], axis=1)


def test_the_coning_motion_is_as_published() -> None:
    """A = 5 deg, 50 Hz: x rate -68.495434 deg/s, amplitude 1568.8034 deg/s."""
    rate = deg(coning(np.array([0.0])))[0]
    assert rate[0] == pytest.approx(-68.495434, abs=1e-6)
    assert rate[2] == pytest.approx(1568.8034, abs=1e-4)


@pytest.mark.parametrize(("rate_hz", "within_deg"), [(1_000, 3e-3), (2_000, 2e-4), (4_000, 1e-5), (8_000, 7e-7)])
def test_coning_closes(rate_hz: int, within_deg: float) -> None:
    """After each 20 ms the true rotation is 0, while the x rate alone adds up to -1.369909 deg; fourth order."""
    time = np.arange(-3, round(0.06 * rate_hz) + 4) / rate_hz
    after = deg(rotation_curve(time, coning(time), 0.0, [0.02, 0.04, 0.06]))
    assert np.abs(after[0]).max() < within_deg
    assert np.abs(after).max() < 3.5 * within_deg
    assert deg(coning(np.array([0.0]))[0, 0] * 0.02) == pytest.approx(-1.369909, abs=1e-6)


def test_coning_between_samples() -> None:
    """Both ends between samples, against the quaternion of the motion itself."""
    time = np.arange(-3, 300) / 4_000

    def attitude(t: float) -> np.ndarray:
        a = CONE / 2
        return np.array([0, np.sin(a) * np.cos(W * t), np.sin(a) * np.sin(W * t), np.cos(a)])

    t0, t1 = 0.00313, 0.01777
    true = vector_from_quaternion(quaternion_product(attitude(t0) * [-1, -1, -1, 1], attitude(t1)))
    assert rotation(time, coning(time), t0, t1) == pytest.approx(true, abs=np.deg2rad(2e-5))
    assert rotation(time, coning(time), t1, t0) == pytest.approx(-true, abs=np.deg2rad(2e-5))


def test_two_quarter_turns() -> None:
    """90 deg about the body's x, then its new y: 120 deg about (1, 1, 1), 69.2820323 deg each; y first: third < 0."""
    x, y = quaternion_from_vector([np.pi / 2, 0, 0]), quaternion_from_vector([0, np.pi / 2, 0])
    assert deg(vector_from_quaternion(quaternion_product(x, y))) == pytest.approx([69.2820323] * 3, abs=1e-7)
    assert deg(vector_from_quaternion(quaternion_product(y, x))) == pytest.approx(
        [69.2820323, 69.2820323, -69.2820323], abs=1e-7
    )


def test_quaternions_agree_with_scipy() -> None:
    vectors = np.random.default_rng(3).normal(0, 1, (50, 3))
    ours = quaternion_from_vector(vectors)
    theirs = Rotation.from_rotvec(vectors).as_quat()
    assert np.abs((ours * theirs).sum(axis=1)) == pytest.approx(np.ones(50), abs=1e-12)  # q and -q are one rotation
    assert vector_from_quaternion(ours) == pytest.approx(Rotation.from_quat(theirs).as_rotvec(), abs=1e-12)
    for q in ours[:5]:
        assert matrix_from_quaternion(q) == pytest.approx(Rotation.from_quat(q).as_matrix(), abs=1e-12)


def test_lever_arm_of_a_centrifuge() -> None:
    """OpenStax, University Physics 1, section 10.3: r = 20 m, w = pi rad/s, alpha = -pi/10 rad/s2.

    Tangential -6.283, inward 197.4, size 197.5 m/s2, 1.8 deg from inward.
    """
    a = lever_arm_acceleration([0, 0, np.pi], [0, 0, -np.pi / 10], [20, 0, 0])
    assert a[1] == pytest.approx(-6.283, abs=1e-3)
    assert -a[0] == pytest.approx(197.4, abs=0.1)
    assert np.linalg.norm(a) == pytest.approx(197.5, abs=0.1)
    assert deg(np.arctan2(-a[1], -a[0])) == pytest.approx(1.8, abs=0.1)


def test_lever_arm_in_all_axes() -> None:
    """r = (0.30, 0, -0.06) m, w = (2, -1, 3) rad/s, alpha = (10, -20, 40) rad/s2."""
    arm, rate, alpha = (0.30, 0, -0.06), (2, -1, 3), (10, -20, 40)
    assert lever_arm_acceleration((0, 0, 0), alpha, arm) == pytest.approx([1.2, 12.6, 6.0], abs=1e-9)
    assert lever_arm_acceleration(rate, (0, 0, 0), arm) == pytest.approx([-3.36, -0.42, 2.10], abs=1e-9)
    assert lever_arm_acceleration(rate, alpha, arm) == pytest.approx([-2.16, 12.18, 8.10], abs=1e-9)


def test_six_faces_are_undone_by_the_calibration() -> None:
    """f = M g + b of six still faces (least squares); a = M^-1 (f - b). The +x and -z faces as printed."""
    m = np.array([[1.01, 0.002, -0.003], [0.001, 0.99, 0.004], [0, -0.002, 1.005]])
    b = np.array([0.12, -0.20, 0.15])
    faces = np.array([sign * G * np.eye(3)[axis] for axis in range(3) for sign in (1, -1)])
    read = faces @ m.T + b
    assert read[0] == pytest.approx([10.024716, -0.190193, 0.15], abs=1e-6)
    assert read[5] == pytest.approx([0.149420, -0.239227, -9.705683], abs=1e-6)
    inverse = tuple(tuple(row) for row in np.linalg.inv(m))
    made = calibration(Scales(), SensorSetup(accel_matrix=inverse, accel_offset_m_s2=(0.12, -0.20, 0.15)))
    force, _ = made.apply(np.hstack([read, np.zeros((6, 3))]))
    assert force == pytest.approx(faces, abs=1e-9)


def test_one_axis_of_six_faces() -> None:
    """+9.95 and -9.71 m/s2: offset 0.12, scale 1.0023810."""
    scale = (9.95 + 9.71) / (2 * G)
    assert scale == pytest.approx(1.0023810, abs=1e-7)
    matrix = ((1 / scale, 0, 0), (0, 1, 0), (0, 0, 1))
    made = calibration(Scales(), SensorSetup(accel_matrix=matrix, accel_offset_m_s2=(0.12, 0, 0)))
    force, _ = made.apply(np.array([[9.95, 0, 0, 0, 0, 0], [-9.71, 0, 0, 0, 0, 0]]))
    assert force[:, 0] == pytest.approx([G, -G], abs=1e-9)
