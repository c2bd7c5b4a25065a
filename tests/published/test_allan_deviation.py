"""Allan deviation against NIST SP 1065 (W. J. Riley, 2008) and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.motion.allan import allan_deviation, read_noise

# NIST SP 1065, section on test data: nine frequency points.
NINE = np.array([892.0, 809, 823, 798, 671, 644, 883, 903, 677])


def thousand() -> np.ndarray:
    """NIST SP 1065: n0 = 1234567890 is the first, n <- 16807 n mod 2147483647, each divided by 2147483647."""
    n, values = 1234567890, []
    for _ in range(1000):
        values.append(n / 2147483647)
        n = 16807 * n % 2147483647
    return np.array(values)


@pytest.mark.parametrize(("overlapping", "second"), [(False, 115.8082), (True, 85.95287)])
def test_nine_points(overlapping: bool, second: float) -> None:
    found = allan_deviation(NINE, 1.0, np.array([1, 2]), overlapping=overlapping).deviation
    assert found[0] == pytest.approx(91.22945, abs=5e-6)
    assert found[1] == pytest.approx(second, abs=5e-5)


@pytest.mark.parametrize(
    ("overlapping", "expected"),
    [(False, (0.2922319, 0.09965736, 0.03897804)), (True, (0.2922319, 0.09159953, 0.03241343))],
)
def test_thousand_points(overlapping: bool, expected: tuple[float, ...]) -> None:
    found = allan_deviation(thousand(), 1.0, np.array([1, 10, 100]), overlapping=overlapping)
    assert found.deviation == pytest.approx(expected, rel=3e-7)
    assert found.tau_s.tolist() == [1.0, 10.0, 100.0]


def test_a_ramp() -> None:
    """R tau / sqrt(2), exact: y = n gives 7.0710678 at 10 (IEEE Std 952, from memory)."""
    found = allan_deviation(np.arange(1000.0), 1.0, np.array([10]))
    assert found.deviation[0] == pytest.approx(7.0710678, abs=5e-8)


def test_a_sine() -> None:
    """A sin^2(pi f tau) / (pi f tau): 10 Hz at 0.05 s gives 0.636620 (computed)."""
    rate = 20_000.0
    t = (np.arange(int(20 * rate)) + 0.5) / rate
    found = allan_deviation(np.sin(2 * np.pi * 10 * t), rate, np.array([1000]))
    assert found.deviation[0] == pytest.approx(0.636620, abs=2e-5)


def test_white_noise_and_its_sum() -> None:
    """White of standard deviation s: s / sqrt(m); sum of white steps q: q sqrt((2 m^2 + 1) / (6 m)); 1 % from 2e6."""
    steps = np.random.default_rng(20).standard_normal(2_000_000)
    m = np.array([1, 10, 100])
    assert allan_deviation(steps, 1.0, m).deviation == pytest.approx(1 / np.sqrt(m), rel=0.01)
    walk = allan_deviation(np.cumsum(steps), 1.0, m).deviation
    assert walk == pytest.approx((0.7071068, 1.8303005, 5.7736470), rel=0.01)


def test_white_noise_density_is_read_at_one_second() -> None:
    """N, slope -1/2, read at 1 s (IEEE Std 952, from memory): s / sqrt(rate). Two-sided: a sheet's figure / sqrt(2)."""
    rate, sheet = 1000.0, 0.005  # deg/s/sqrt(Hz), one-sided
    noise = np.random.default_rng(3).standard_normal(600_000) * sheet * np.sqrt(rate / 2)
    figures = read_noise(allan_deviation(noise, rate))
    assert figures.white == pytest.approx(sheet / np.sqrt(2), rel=0.02)
    # angle after 15 ms: n sqrt(t / 2) = 0.000433013 deg for this sheet
    assert sheet * np.sqrt(0.015 / 2) == pytest.approx(0.000433013, abs=5e-10)
    assert figures.white * np.sqrt(0.015) == pytest.approx(0.000433013, rel=0.02)
    assert figures.bias_instability is None
    assert any("longer" in note for note in figures.notes)


def test_random_walk_and_the_lowest_point() -> None:
    """Rate random walk K sqrt(tau / 3); bias instability min / 0.664282 (sqrt(2 ln 2 / pi))."""
    rate, white, walk = 1000.0, 0.1, 1e-3
    rng = np.random.default_rng(4)
    data = white * rng.standard_normal(600_000) + walk * np.cumsum(rng.standard_normal(600_000))
    allan = allan_deviation(data, rate)
    figures = read_noise(allan)
    assert figures.white == pytest.approx(white / np.sqrt(rate), rel=0.03)
    assert figures.random_walk == pytest.approx(walk * np.sqrt(rate), rel=0.15)
    assert figures.bias_instability is not None
    # the least of N^2 / tau + K^2 tau / 3 with N^2 = white^2 / rate and K^2 = walk^2 rate
    lowest = np.sqrt(2 * white * walk / np.sqrt(3))
    assert figures.bias_instability == pytest.approx(lowest / 0.664282, rel=0.1)
