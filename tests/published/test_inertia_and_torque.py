"""Torque, and a mount's or a hand's spring, against textbooks."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from quiethand.shots.candidate import MotionWindow
from quiethand.shots.follow_through import measure_follow_through
from quiethand.shots.mount_mode import mount_mode
from quiethand.shots.torque import torque_nm


def _window(time_s: NDArray[np.float64], rate_rad_s: NDArray[np.float64]) -> MotionWindow:
    n = len(time_s)
    no = np.zeros(n, bool)
    return MotionWindow(
        0, np.arange(n), time_s, np.tile([0.0, 0.0, 9.80665], (n, 1)), rate_rad_s, no, no,
        float(time_s[1] - time_s[0]), 0.0, 0.0, None, None,
    )  # fmt: skip


def test_euler_equation_in_all_axes() -> None:
    """I dw/dt + w x I w (Euler); I = (0.12, 0.36, 0.30), w = (2, -1, 3), alpha = (10, -20, 40), worked out by hand."""
    torque = torque_nm(np.array([[2.0, -1.0, 3.0]]), np.array([[10.0, -20.0, 40.0]]), np.array([0.12, 0.36, 0.30]))
    assert torque[0] == pytest.approx([1.38, -8.28, 11.52], abs=1e-12)


def test_a_plate_turned_about_its_diagonal() -> None:
    """A textbook exercise: N3 = -m a b (a^2 - b^2) w^2 / (12 (a^2 + b^2)); 1 kg, 0.3 and 0.2 m, 2 rad/s."""
    m, a, b, w = 1.0, 0.3, 0.2, 2.0
    i1, i2 = m * b**2 / 12, m * a**2 / 12
    along = np.array([a, b, 0.0]) / np.hypot(a, b) * w
    # the moment about the long side's axis is the small one
    torque = torque_nm(along[None], np.zeros((1, 3)), np.array([i1, i2, i1 + i2]))
    assert abs(torque[0, 2]) == pytest.approx(0.00769231, abs=1e-8)
    assert torque[0, :2] == pytest.approx([0.0, 0.0], abs=1e-15)


@pytest.mark.parametrize("rate_hz", [2000.0, 4000.0, 8000.0])
def test_a_ringing_mount_is_told_by_frequency_and_damping(rate_hz: float) -> None:
    """A mode of 130 Hz with ratio 0.03: damped 129.941487 Hz, peaks fall by 0.828134 a cycle (computed)."""
    t = np.arange(0, 0.4, 1 / rate_hz)
    damped = 129.941487
    fall = np.log(0.828134) * damped
    rate = np.zeros((len(t), 3))
    rate[:, 1] = 0.5 * np.exp(fall * t) * np.sin(2 * np.pi * damped * t)
    mode = mount_mode(_window(t, rate), 0.0, np.full(3, 1e-4))
    assert mode is not None
    assert mode.hz == pytest.approx(damped, rel=1e-4)
    assert mode.damping_ratio == pytest.approx(0.03, rel=0.01)
    assert mode.fit > 0.999


def test_a_hand_as_spring_and_damper() -> None:
    """Like peaks 0.2 s apart fall from 4.0 to 1.0: ratio 0.2154538, 32.171505 rad/s; with 0.30 kg m2 310.502 N m/rad.

    Log decrement d = ln(x1/x2), ratio d / sqrt(4 pi^2 + d^2) (Thomson, Theory of Vibration; figures computed).
    """
    natural, ratio = 32.171505, 0.2154538
    t = np.arange(-0.2, 0.4, 1 / 2000)
    damped = natural * np.sqrt(1 - ratio**2)
    angle = np.where(t > 0, np.exp(-ratio * natural * t) * np.cos(damped * t), 1.0)
    rate = np.gradient(0.05 * angle, t)
    follow, _ = measure_follow_through(_window(t, np.outer(rate, [0, 0, 1.0])), 0.0, np.zeros(3), np.full(3, 0.30))
    # the smoothing that keeps the ringing out costs a few per cent
    assert follow.hand_stiffness_nm_rad.yaw == pytest.approx(310.502, rel=0.03)
    assert follow.damping_ratio.yaw == pytest.approx(ratio, rel=0.05)
    assert follow.hand_stiffness_nm_rad.cant is None
