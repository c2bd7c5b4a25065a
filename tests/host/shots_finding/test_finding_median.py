"""The median is numpy's, for odd and even numbers of rows, along the first axis."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.shots.middle import median

RNG = np.random.default_rng(3)


@pytest.mark.parametrize("shape", [(1,), (2,), (7,), (40,), (1, 3), (12, 3), (13, 3)])
def test_as_numpy_has_it(shape: tuple[int, ...]) -> None:
    values = RNG.normal(size=shape)
    assert np.array_equal(median(values), np.median(values, axis=0))
    assert np.array_equal(median(np.round(values)), np.median(np.round(values), axis=0))  # with ties
