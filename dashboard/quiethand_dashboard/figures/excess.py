"""Where a trace leaves the archer's usual band during the time on the string."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from quiethand.axes import AXIS_NAMES
from quiethand.shots.model import Trace

if TYPE_CHECKING:
    from quiethand_dashboard.figures.traces import Band

__all__ = ["Span", "excess_spans", "excess_words"]

# Each point by itself strays beyond the band one time in twenty: an excursion counts when it lasts.
_LEAST_MS: Final = 2.0
_LEAST_SHARE: Final = 0.1  # and when it goes further out than this share of the band's own width
_NAMES: Final = {
    "rotation_deg": ("rotation", "deg"),
    "rate_deg_s": ("rate", "deg/s"),
    "torque_nm": ("torque", "N m"),
}


@dataclass(frozen=True)
class Span:
    """One excursion: from when to when, and how far beyond the nearer edge of the band at most."""

    axis: str
    quantity: str  # the name of `Trace`'s field
    start_ms: float
    end_ms: float
    beyond: float


def excess_spans(trace: Trace, window_ms: float | None, band: Band | None) -> tuple[Span, ...]:
    """Every excursion of rotation, rate and torque beyond `band` from release to departure, of 2 ms and longer."""
    if band is None or window_ms is None:
        return ()
    found = []
    for quantity in _NAMES:
        values = getattr(trace, quantity)
        if values is None or quantity not in band.low:
            continue
        inside = (trace.gyro_ms >= 0) & (trace.gyro_ms <= window_ms)
        ms = trace.gyro_ms[inside].astype(np.float64)
        for column, axis in enumerate(AXIS_NAMES):
            low = np.interp(ms, band.ms, band.low[quantity][:, column], left=np.nan, right=np.nan)
            high = np.interp(ms, band.ms, band.high[quantity][:, column], left=np.nan, right=np.nan)
            y = values[inside, column]
            beyond = np.maximum(np.nan_to_num(y - high), np.nan_to_num(low - y))
            found += [
                Span(axis, quantity, float(ms[a]), float(ms[b - 1]), float(beyond[a:b].max()))
                for a, b in _runs(beyond > 0)
                if ms[b - 1] - ms[a] >= _LEAST_MS and np.any(beyond[a:b] > _LEAST_SHARE * (high - low)[a:b])
            ]
    return tuple(found)


def _runs(inside: np.ndarray) -> list[tuple[int, int]]:
    """Start and end (one past the last) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def excess_words(spans: Sequence[Span]) -> list[str]:
    """A line for each excursion: "yaw rotation outside the usual from 6.0 to 12.4 ms, by up to 0.031 deg"."""
    lines = []
    for span in spans:
        name, unit = _NAMES[span.quantity]
        lines.append(
            f"{span.axis} {name} outside the usual from {span.start_ms:.1f} to {span.end_ms:.1f} ms, "
            f"by up to {span.beyond:.2g} {unit}"
        )
    return lines
