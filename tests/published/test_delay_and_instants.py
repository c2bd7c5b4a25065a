"""Delays of filters, what a delay left in costs, and the least an instant can be uncertain by."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.motion.rotation import rotation
from quiethand.shots.timing_onset import release_onset
from quiethand.shots.timing_shock import rise_sigma_s, shock_onset, step_response


def test_a_step_through_a_butterworth_is_half_up_after_its_delay() -> None:
    """A second-order Butterworth delays by 0.225079 / corner at 0 Hz (computed); 10 to 90 % takes 0.35 / corner.

    The shock's fit takes a low-pass for symmetric: half of the rise at the delay.
    """
    from scipy.signal import butter, lfilter

    rate, corner = 1e6, 500.0
    b, a = butter(2, corner, fs=rate)
    rise = lfilter(b, a, np.ones(4000))
    t = np.arange(4000) / rate
    assert t[np.argmax(rise > 0.5)] == pytest.approx(0.225079 / corner, rel=0.03)
    width = rise_sigma_s(corner, None, 1e-3)[1]
    between = t[np.argmax(rise > 0.9)] - t[np.argmax(rise > 0.1)]
    own = np.interp([0.1, 0.9], step_response(np.linspace(-4, 4, 801)), np.linspace(-4, 4, 801)) * width
    assert own[1] - own[0] == pytest.approx(between, rel=0.05)


def test_a_delay_left_in_turns_the_angle() -> None:
    """-d x (rate at departure - rate at release): 0 to 30 deg/s and 0.5 ms make -0.015 deg (computed)."""
    t = np.arange(-0.02, 0.05, 1 / 4000)
    ramp = np.deg2rad(30.0) * t / 0.015
    rate = np.stack([np.zeros_like(t), ramp, np.zeros_like(t)], axis=1)
    right = rotation(t, rate, 0.0, 0.015)
    late = rotation(t + 0.5e-3, rate, 0.0, 0.015)
    assert np.rad2deg(late - right)[1] == pytest.approx(-0.015, abs=3e-4)


@pytest.mark.parametrize("rate_hz", [1000.0, 2000.0, 4000.0])
def test_a_shock_is_dated_at_its_onset_not_a_delay_late(rate_hz: float) -> None:
    """A step through a second-order Butterworth, dated within its stated uncertainty whatever the delay."""
    from scipy.signal import butter, lfilter

    rng = np.random.default_rng(7)
    dt, corner = 1e-5, 0.4 * rate_hz
    t = np.arange(-0.05, 0.05, dt)
    b, a = butter(2, corner, fs=1 / dt)
    delay = 0.225079 / corner
    z = []
    for _ in range(25):
        onset = rng.uniform(0, 1 / rate_hz) + 0.15e-3
        size = rng.uniform(80, 250, 3) * rng.choice([-1, 1], 3)
        since = np.maximum(t - onset, 0.0)
        step = (t > onset)[:, None] * size * np.cos(2 * np.pi * rng.uniform(80, 250, 3) * since[:, None])
        shown = lfilter(b, a, step, axis=0)
        picks = np.arange(rng.integers(0, int(1 / rate_hz / dt)), len(t), int(1 / rate_hz / dt))
        force = shown[picks] + rng.normal(0, 0.05, (len(picks), 3))
        found = shock_onset(
            t[picks], force, np.zeros(len(picks), bool), expected_s=onset + rng.uniform(-1e-3, 1e-3), within_s=4e-3,
            delay_s=delay, period_s=1 / rate_hz, noise_m_s2=0.05, widths_s=rise_sigma_s(corner, delay, 1 / rate_hz),
        )  # fmt: skip
        assert found is not None
        z.append((found.departure_s - (onset - 0.15e-3)) / found.sigma_s)
    assert np.mean(np.abs(z) < 2) >= 0.88


def test_no_instant_is_claimed_better_than_the_noise_allows() -> None:
    """Cramer and Rao: the variance of an arrival is at least sigma^2 / sum of s'^2 (Kay, Estimation Theory, ch. 3).

    A ramp of 10 m/s2 in 3 ms with 120 ug/sqrt(Hz) allows 4.55772 us (from memory, computed); what is stated for such
    a ramp is wider, and the error lies within it.
    """
    rng = np.random.default_rng(11)
    rate_hz = 4000.0
    noise = 120e-6 * 9.80665 * np.sqrt(rate_hz / 2)
    t = np.arange(-0.05, 0.01, 1 / rate_hz)
    least_s = noise / np.sqrt(np.sum((t > 0) & (t < 3e-3)) * (10 / 3e-3) ** 2)
    assert least_s == pytest.approx(4.55772e-6, rel=0.01)
    force = np.zeros((len(t), 3))
    force[:, 0] = np.clip(t, 0, 3e-3) * 10 / 3e-3
    force += rng.normal(0, noise, force.shape)
    found = release_onset(t, force, np.full(3, noise), expected_s=0.1e-3, expected_sigma_s=0.2e-3, width_s=1e-5)
    assert found is not None
    assert found.sigma_s > least_s
    assert abs(found.release_s) < 2 * found.sigma_s
