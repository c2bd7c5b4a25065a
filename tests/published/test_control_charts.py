"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook of Statistical Methods."""

from __future__ import annotations

import math

import numpy as np
import pytest
from quiethand.judge.control import D2, ewma, individuals

# 6.3.2.2, flow rates in ten batches
INDIVIDUALS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
# 6.3.2.4, twenty values, the last ten as above
EWMA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *INDIVIDUALS]


def test_individuals_of_nist_6_3_2_2() -> None:
    chart = individuals(INDIVIDUALS)
    assert chart.centre == pytest.approx(50.81, abs=5e-3)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.high == pytest.approx(55.8041, abs=5e-5)
    assert chart.low == pytest.approx(45.8159, abs=5e-5)
    assert not chart.outside.any()  # "the process is in control"


def test_ewma_of_nist_6_3_2_4() -> None:
    chart = ewma(EWMA, start=50.0, sigma=2.0539, weight=0.3, steady=True)
    assert chart.z[-1] == pytest.approx(51.99, abs=5e-3)  # as printed
    assert chart.z[0] == pytest.approx(50.60, abs=5e-3)
    assert chart.high[0] == pytest.approx(52.5884, abs=1e-4)
    assert chart.low[-1] == pytest.approx(47.4115, abs=1e-4)
    assert not chart.outside.any()


def test_d2_is_the_mean_range_of_two() -> None:
    # NIST 6.3.2.2's table prints 1.128; the mean of |x - y| of two standard normals is 2 / sqrt(pi)
    assert pytest.approx(2 / math.sqrt(math.pi), abs=5e-4) == D2


def test_about_one_in_370_ordinary_points_lies_outside() -> None:
    # NIST 6.3.2.2 and 6.3.1: with three sigmas a false alarm about every 370 points of normal scatter
    values = np.random.default_rng(5).normal(size=200_000)
    share = individuals(values).outside.mean()
    assert 1 / share == pytest.approx(370, rel=0.12)  # four standard errors of a count of 540 are 17 %
