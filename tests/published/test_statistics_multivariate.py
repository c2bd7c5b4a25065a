"""Hotelling's T squared against the sweat data and NIST's limit."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.judge.usual_together import mean_differs, usual_together
from scipy import stats

# Johnson and Wichern, Applied Multivariate Statistical Analysis, table 5.1 (from memory; the published T2 is met)
SWEAT = np.array([
    (3.7, 48.5, 9.3), (5.7, 65.1, 8.0), (3.8, 47.2, 10.9), (3.2, 53.2, 12.0), (3.1, 55.5, 9.7), (4.6, 36.1, 7.9),
    (2.4, 24.8, 14.0), (7.2, 33.1, 7.6), (6.7, 47.4, 8.5), (5.4, 54.1, 11.3), (3.9, 36.9, 12.7), (4.5, 58.8, 12.3),
    (3.5, 27.8, 9.8), (4.5, 40.2, 8.4), (1.5, 13.5, 10.1), (8.5, 56.4, 7.1), (4.5, 71.6, 8.2), (6.5, 52.8, 10.9),
    (4.1, 44.1, 11.2), (5.5, 40.9, 9.4),
])  # fmt: skip


def test_sweat_data() -> None:
    """Mean (4, 50, 10): T2 9.74 (published; 9.738773 computed), F 2.904546, p 0.0649283."""
    t2, f, p = mean_differs(SWEAT, [4, 50, 10])
    assert (t2, f, p) == pytest.approx((9.738773, 2.904546, 0.0649283), abs=1e-6)


def test_the_limit_is_nists() -> None:
    """e-Handbook 6.5.4.3.4, phase II of individual observations: p (m + 1)(m - 1)/(m^2 - m p) F(p, m - p)."""
    x = np.random.default_rng(1).normal(size=(16, 3))
    found = usual_together(x, false_alarm=0.05)
    assert found is not None
    m = 16 - found.left_out
    assert found.limit == pytest.approx(3 * (m + 1) * (m - 1) / (m * m - 3 * m) * stats.f.ppf(0.95, 3, m - 3))
