"""Whether the bow stirs before the release, as a habit, and what it does in the 100 ms after the arrow has left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import AXIS_NAMES
from quiethand.errors import InputError
from quiethand.judge.group import Interval
from quiethand.judge.habit import mean_interval
from quiethand.judge.resampling import generator_for, sign_patterns
from quiethand.words import axis_direction, axis_words

__all__ = ["LEAST_SHOTS", "AfterDeparture", "BeforeRelease", "after_departure", "after_words", "before_release",
           "before_words"]  # fmt: skip

Floats = NDArray[np.float64]
Trace = tuple[NDArray[np.floating], NDArray[np.floating]]

FROM_MS: Final = -95.0  # traces begin 100 ms before the release
TO_MS: Final = -5.0  # fingers begin to let go before the release
BIN_MS: Final = 5.0
_BASE_BINS: Final = 3  # the first 15 ms are what a shot is held against
LEAST_SHOTS: Final = 8  # 2 of 256 sign patterns are 0.008; three axes and eighteen instants are looked at together
AFTER_MS: Final = (50.0, 100.0)
ALPHA: Final = 0.05


@dataclass(frozen=True)
class BeforeRelease:
    """One axis of a set. `starts_ms` is when motion that goes on to the release is first told from chance."""

    axis: str
    shots: int
    change_deg_s: Interval  # of the rate, from 95 to 80 ms before the release to 10 to 5 ms before it
    p_value: float  # for all axes and instants together
    starts_ms: float | None  # before the release, a positive number; None: none is shown
    ms: Floats  # (b,) middles of the bins
    mean_deg_s: Floats  # (b,) mean change of rate over the shots


@dataclass(frozen=True)
class AfterDeparture:
    """One axis of a set: mean turn since the departure, degrees."""

    axis: str
    shots: int
    by_50_ms: Interval
    by_100_ms: Interval
    scatter_100_deg: float


def before_release(traces: Sequence[Trace]) -> tuple[BeforeRelease, ...]:
    """Motion before the release that the shots have in common.

    Each shot's rate is held against its own first 15 ms; the mean over shots at each instant by its standard error
    (t), and the largest t of all instants and axes against that of random signs, one a shot, which keeps the course of
    each (Nichols and Holmes, Human Brain Mapping 15, 2002). Going back from the release, motion starts where t last
    falls below the bound: it may start earlier, too weakly to be told.

    Args:
        traces: (ms from release, shape (m,); rate in deg/s, shape (m, 3)) of each shot.

    Raises:
        InputError: fewer than 8 traces reach back to 95 ms before the release.
    """
    edges = np.arange(FROM_MS, TO_MS + BIN_MS / 2, BIN_MS)
    courses = [
        course for ms, rate in traces
        if len(ms) > 1 and ms[0] <= FROM_MS and np.isfinite(course := _binned(ms, rate, edges)).all()
    ]  # fmt: skip
    if len(courses) < LEAST_SHOTS:
        raise InputError(
            f"{len(courses)} shots show the {-FROM_MS:g} ms before the release; from fewer than {LEAST_SHOTS} a habit "
            "cannot be told from chance",
            do="choose a wider set",
        )
    x = np.stack(courses)  # (n, bins, 3)
    x = x[:, _BASE_BINS:] - x[:, :_BASE_BINS].mean(axis=1, keepdims=True)
    n, bins, _ = x.shape
    flat = x.reshape(n, -1)
    t = _t(flat.sum(axis=0), (flat**2).sum(axis=0), n).reshape(bins, 3)
    signs, _ = sign_patterns(n, generator_for(flat))
    signs = signs[:: max(1, len(signs) // 4096)]
    largest = np.sort(np.abs(_t(signs @ flat, (flat**2).sum(axis=0), n)).max(axis=1))
    bound = float(np.quantile(largest, 1 - ALPHA))
    middle = (edges[:-1] + edges[1:])[_BASE_BINS:] / 2
    found = []
    for k, axis in enumerate(AXIS_NAMES):
        beyond = (np.abs(t[:, k]) > bound) & (np.sign(t[:, k]) == np.sign(t[-1, k]))
        starts = None
        if beyond[-1]:
            quiet = np.flatnonzero(~beyond)
            first = int(quiet[-1]) + 1 if len(quiet) else 0
            starts = -float(edges[_BASE_BINS + first])
        p = (1 + int(np.count_nonzero(largest >= abs(t[-1, k])))) / (len(largest) + 1)
        found.append(BeforeRelease(axis, n, mean_interval(x[:, -1, k]), p, starts, middle, x[:, :, k].mean(axis=0)))
    return tuple(found)


def before_words(found: Sequence[BeforeRelease]) -> tuple[str, ...]:
    said = [
        f"{one.axis}: the bow begins to turn {axis_direction(one.axis, one.change_deg_s.value)} at least "
        f"{one.starts_ms:.0f} ms before the release, by {abs(one.change_deg_s.value):.2f} deg/s shortly before it, in "
        f"{one.shots} shots."
        for one in found
        if one.starts_ms is not None
    ]
    if not said:
        wide = max((abs(e) for one in found for e in (one.change_deg_s.low, one.change_deg_s.high)), default=0.0)
        said.append(
            f"{found[0].shots} shots show no motion before the release that they have in common; a change of rate of "
            f"up to {wide:.2f} deg/s cannot be ruled out."
        )
    return tuple(said)


def after_departure(traces: Sequence[Trace], departure_ms: Sequence[float]) -> tuple[AfterDeparture, ...]:
    """How the bow turns in the first 100 ms after the arrow has left: an arm that drops takes the nose down.

    Of the sensor's motion through the shock its turn alone is to be trusted, so whether the whole arm sinks is told
    from pitch, not from acceleration.

    Args:
        traces: (ms from release, shape (m,); rotation since release in degrees, shape (m, 3)) of each shot.
        departure_ms: of each shot, from its release.

    Raises:
        InputError: fewer than 8 traces reach to 100 ms after the departure.
    """
    turned = []
    for (ms, rotation), left in zip(traces, departure_ms, strict=True):
        if len(ms) > 1 and np.isfinite(left) and ms[0] <= left and ms[-1] >= left + AFTER_MS[-1]:
            at = np.array([left, *(left + a for a in AFTER_MS)])
            course = np.stack([np.interp(at, ms, rotation[:, k]) for k in range(3)], axis=1)
            turned.append(course[1:] - course[0])
    if len(turned) < LEAST_SHOTS:
        raise InputError(
            f"{len(turned)} shots show the 100 ms after the departure; from fewer than {LEAST_SHOTS} a habit cannot be "
            "told from chance",
            do="choose a wider set",
        )
    x = np.stack(turned)  # (n, 2, 3)
    return tuple(
        AfterDeparture(
            axis, len(x), mean_interval(x[:, 0, k]), mean_interval(x[:, 1, k]), float(x[:, 1, k].std(ddof=1))
        )
        for k, axis in enumerate(AXIS_NAMES)
    )


def after_words(found: Sequence[AfterDeparture]) -> tuple[str, ...]:
    pitch = next(one for one in found if one.axis == "pitch")
    at = pitch.by_100_ms
    mean, low, high = (axis_words("pitch", v, digits=2) for v in (at.value, at.low, at.high))
    said = (
        f"In the first 100 ms after the arrow has left the nose turns {mean} on average over {pitch.shots} shots "
        f"({low} to {high})"
    )
    if at.low > 0:
        return (f"{said}: what an arm that drops would show.",)
    if at.high < 0:
        return (f"{said}: no sign of an arm that drops.",)
    return (f"{said}: neither way is shown.",)


def _binned(ms: NDArray[np.floating], rate: NDArray[np.floating], edges: Floats) -> Floats:
    """Means over bins, shape (bins, 3); NaN where a bin holds no sample."""
    at = np.searchsorted(ms, edges)
    sums = np.concatenate([np.zeros((1, 3)), np.cumsum(np.asarray(rate, dtype=np.float64), axis=0)])
    count = np.diff(at)[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((sums[at[1:]] - sums[at[:-1]]) / count)


def _t(sums: Floats, squares: Floats, n: int) -> Floats:
    variance = np.maximum(squares - sums**2 / n, 1e-300) / (n - 1)
    return np.asarray(sums / np.sqrt(n * variance))
