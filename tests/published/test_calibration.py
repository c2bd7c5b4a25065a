"""Calibration against published examples and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.calibrate.bias import EARTH_SIGMA_RAD_S
from quiethand.calibrate.faces import directed_faces, fit_faces
from quiethand.calibrate.inertia import Measurand, bifilar_inertia, inertia_from_swings
from quiethand.calibrate.swings import SwingFit
from quiethand.shots.explanation import Share, halving

G = 9.80665
# Computed from the stated M and b: six faces, f = M g_i + b.
GAIN = np.array([[1.01, 0.002, -0.003], [0.001, 0.99, 0.004], [0.0, -0.002, 1.005]])
OFFSET = np.array([0.12, -0.20, 0.15])
UP = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float)


@pytest.mark.parametrize(("period_s", "printed"), [(1.83, 0.0161132), (16.5 / 9, 0.0161720)])
def test_two_cords(period_s: float, printed: float) -> None:
    """A published example: 0.980 kg, D/2 0.175 m, h 1.55 m, 9 cycles in 16.5 s, g 9.81."""
    assert bifilar_inertia(0.980, 0.350, 1.55, period_s, gravity_m_s2=9.81) == pytest.approx(printed, abs=5e-8)


def test_two_cords_uncertainty() -> None:
    """GUM (JCGM 100) 5.1.6: of a product of powers the relative uncertainties add in quadrature, each by its power:
    dI/I = dm/m + 2 dT/T + 2 dD/D - dh/h."""
    still = SwingFit(1.83, 0.002, 0.0, 9, 0.0, 0.0, 0.0, 0.0, 16.5, np.array([0.0, 0, 1]))
    found = inertia_from_swings(still, Measurand(0.980, 0.002), Measurand(1.55, 0.003), Measurand(0.350, 0.001))
    expected = np.sqrt((0.002 / 0.980) ** 2 + (2 * 0.002 / 1.83) ** 2 + (2 * 0.001 / 0.350) ** 2 + (0.003 / 1.55) ** 2)
    assert found.sigma_kg_m2 / found.inertia_kg_m2 == pytest.approx(expected, rel=1e-12)


def test_six_faces_in_a_true_box() -> None:
    """b is the mean of the six, column i of M is (f_i+ - f_i-) / (2 g)."""
    force = G * UP @ GAIN.T + OFFSET
    assert force[0] == pytest.approx([10.024716, -0.190193, 0.15], abs=1e-6)
    assert force[5] == pytest.approx([0.149420, -0.239227, -9.705683], abs=1e-6)
    offset, gain = directed_faces(force)
    assert offset == pytest.approx(OFFSET, abs=1e-12)
    assert gain == pytest.approx(GAIN, abs=1e-12)


def test_one_axis_by_lengths_alone() -> None:
    """+9.95 and -9.71 give b 0.12 and scale 1.0023810 (computed)."""
    force = G * UP
    force[0, 0], force[1, 0] = 9.95, -9.71
    result = fit_faces(force, np.full(6, 1e-3))
    assert result.offset_m_s2[0] == pytest.approx(0.12, abs=1e-4)
    assert 1 / result.matrix[0, 0] == pytest.approx(1.0023810, abs=1e-5)


def test_lengths_tell_all_but_a_turn() -> None:
    """The same specimen by |A (f - b)| = g: A'A = (M M')^-1, whatever way the poses looked."""
    rng = np.random.default_rng(2)
    way = np.concatenate([UP, rng.standard_normal((30, 3))])
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    result = fit_faces(G * way @ GAIN.T + OFFSET, np.full(36, 1e-4))
    assert result.cross_told
    assert result.offset_m_s2 == pytest.approx(OFFSET, abs=1e-4)
    assert result.matrix.T @ result.matrix == pytest.approx(np.linalg.inv(GAIN @ GAIN.T), abs=1e-5)


def test_the_earths_turn() -> None:
    """One turn in a sidereal day of 86164.1 s (IAU, from memory); a rectangle's deviation is its half over sqrt(3)."""
    expected = 2 * np.pi / 86164.1 / np.sqrt(3)
    assert expected == pytest.approx(EARTH_SIGMA_RAD_S, rel=1e-6)


def shares(**parts: float) -> list[Share]:
    total = sum(x**2 for x in parts.values())
    rows = [Share(name, "B", x, 100 * x**2 / total, False) for name, x in parts.items()]
    return sorted(rows, key=lambda share: -share.percent)


def test_what_would_halve_the_end_gauge() -> None:
    """GUM H.1: 31.71 nm from 25, 9.7, 2.9 and 16.7 nm (from memory): no one source can halve it, two can."""
    found = halving(shares(comparison=25.0, length=9.7, temperature=2.9, expansion=16.7))
    assert found is not None
    sources, factor = found
    assert [s.source for s in sources] == ["comparison", "expansion"]
    shrunk = np.sqrt(factor**2 * (25.0**2 + 16.7**2) + 9.7**2 + 2.9**2)
    assert shrunk == pytest.approx(31.71 / 2, abs=0.01)


def test_what_would_halve_an_angle() -> None:
    """Computed: 0.000433, 0.0003, 0.00015, 0.004 combine to 0.0040373 deg; the instant rules, not the noise."""
    found = halving(shares(noise=0.000433, bias=0.0003, release=0.00015, departure=0.004))
    assert found is not None
    sources, factor = found
    assert [s.source for s in sources] == ["departure"]
    assert np.sqrt((factor * 0.004) ** 2 + 0.000433**2 + 0.0003**2 + 0.00015**2) == pytest.approx(
        0.0040373 / 2, abs=1e-7
    )
