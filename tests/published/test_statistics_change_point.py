"""W. A. Taylor's worked example (Change-Point Analysis: A Powerful New Tool for Detecting Changes, 2000)."""

from __future__ import annotations

import numpy as np
from quiethand.judge.change_point import change_point

# United States trade deficit by month, January 1987 to December 1988 in billions, as change-point packages' tests
# quote it
DEFICIT = [
    10.7, 13.0, 11.4, 11.5, 12.5, 14.1, 14.8, 14.1, 12.6, 16.0, 11.7, 10.6,
    10.0, 11.4, 7.9, 9.5, 8.0, 11.8, 10.5, 11.2, 9.2, 10.1, 10.4, 10.5,
]  # fmt: skip


def test_trade_deficit() -> None:
    """The change lies between November and December 1987; of 1,000 random orders some 995 or more reach less far."""
    found = change_point(DEFICIT)
    assert found.index == 11
    assert found.p_value <= 0.005
    assert found.low <= 11 <= found.high
    assert (found.before, found.after) == (np.mean(DEFICIT[:11]), np.mean(DEFICIT[11:]))
