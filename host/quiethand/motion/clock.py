"""The host's clock against a segment's: how time goes on over a restart or a gap.

A CLOCK frame says when a device tick reached the host: late perhaps, never early. So the truth lies along the lower
edge of these points.
"""

from __future__ import annotations

from collections import deque
from typing import Final, Literal

__all__ = ["SegmentClock", "lower_edge", "start_after"]

KEPT: Final = 128  # CLOCK frames looked back on, about two minutes: drift over more than that bends
RATE_FROM_S: Final = 20.0  # a slope from a shorter stretch says more of lateness than of drift


class SegmentClock:
    """The CLOCK frames of one segment: seconds since its first sample against the host's, as they come."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, int]] = deque(maxlen=KEPT)

    def __len__(self) -> int:
        return len(self._points)

    def add(self, since_start_s: float, unix_ns: int) -> None:
        self._points.append((since_start_s, unix_ns))

    def unix_ns_at(self, since_start_s: float) -> int | None:
        """The host's time at an instant of the segment; None without any CLOCK."""
        if not self._points:
            return None
        zero = self._points[0][1]
        offset, slope = lower_edge([(s, (u - zero) * 1e-9 - s) for s, u in self._points])
        return zero + round((since_start_s + offset + slope * since_start_s) * 1e9)


def lower_edge(points: list[tuple[float, float]]) -> tuple[float, float]:
    """Offset and slope of the line under all points (x, y) with the least sum of distances to them.

    It runs along the edge of their lower convex hull that spans the mean of x (linear programming: the optimum lies
    on a vertex, here an edge). Over a short stretch the slope is taken as 0.
    """
    ordered = sorted(points)
    if ordered[-1][0] - ordered[0][0] < RATE_FROM_S:
        return min(y for _, y in ordered), 0.0
    hull: list[tuple[float, float]] = []
    for x, y in ordered:
        while len(hull) >= 2:
            (x0, y0), (x1, y1) = hull[-2:]
            if (x1 - x0) * (y - y0) > (y1 - y0) * (x - x0):
                break
            hull.pop()
        if hull and hull[-1][0] == x:
            continue  # sorted by y too, so the lower one is there
        hull.append((x, y))
    middle = sum(x for x, _ in ordered) / len(ordered)
    right = next(i for i in range(1, len(hull)) if hull[i][0] >= middle or i == len(hull) - 1)
    (x0, y0), (x1, y1) = hull[right - 1], hull[right]
    slope = (y1 - y0) / (x1 - x0)
    return y0 - slope * x0, slope


def start_after(
    end_s: float, end_unix_ns: int | None, start_unix_ns: int | None, step_s: float
) -> tuple[float, Literal["clock", "at_once"]]:
    """When a segment starts on the recording's time line, and by which clock.

    Args:
        end_s: the last sample before it, on the time line.
        end_unix_ns, start_unix_ns: the host's time at that sample and at the segment's first, if known.
        step_s: one sample's period, for going on at once.
    """
    if end_unix_ns is not None and start_unix_ns is not None:
        start_s = end_s + (start_unix_ns - end_unix_ns) * 1e-9
        if start_s > end_s:
            return start_s, "clock"
    return end_s + step_s, "at_once"
