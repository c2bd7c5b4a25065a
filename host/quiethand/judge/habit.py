"""What an archer does over a set of shots: how much of the bow's turn is carried in, struck and pressed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quiethand.axes import AXIS_NAMES
from quiethand.errors import InputError
from quiethand.judge.group import Interval
from quiethand.judge.resampling import bca_interval, centre_and_error, generator_for, studentised_quantiles

__all__ = ["LEAST_SHOTS", "PARTS", "AxisParts", "mean_interval", "parts_of_set", "parts_words"]

Floats = NDArray[np.float64]

PARTS: Final = ("carried in", "struck", "pressed")
LEAST_SHOTS: Final = 8  # a covariance of fewer is mostly chance: with 8 a correlation of 0.7 is just told from none


@dataclass(frozen=True)
class AxisParts:
    """One axis of a set. Means bear their sign; shares add up to 1, and one below 0 works against the rest."""

    axis: str
    shots: int
    whole_deg: Interval  # mean rotation at departure
    parts_deg: tuple[Interval, Interval, Interval]  # means of what was carried in, struck, pressed
    scatter_deg: float  # standard deviation of the rotation from shot to shot
    scatter_share: tuple[Interval, Interval, Interval]  # of its variance: cov(part, whole) / var(whole)


def mean_interval(values: ArrayLike) -> Interval:
    """Mean with its 95 % interval, by the studentised bootstrap; shape (n,), n >= 5.

    Values that are all alike have no interval of their own: it is then of no width.
    """
    x = np.asarray(values, dtype=np.float64)
    centre, squared = centre_and_error(x, trimmed=False)
    error = float(np.sqrt(squared))
    if error <= 1e-12 * abs(float(centre)):
        return Interval(float(centre), float(centre), float(centre))
    low, high = studentised_quantiles((x,), trimmed=False, level=0.95, rng=generator_for(x))
    return Interval(float(centre), float(centre - error * high), float(centre - error * low))


def parts_of_set(carried_deg: ArrayLike, struck_deg: ArrayLike, pressed_deg: ArrayLike) -> tuple[AxisParts, ...]:
    """Where the rotation at departure comes from, as a habit (means) and from shot to shot (scatter).

    The share of the scatter is the part's covariance with the whole over the whole's variance, which adds up to 1
    however the parts hang together; BCa intervals.

    Args:
        carried_deg, struck_deg, pressed_deg: shape (n, 3), one shot a row; rows that lack a value are left out by axis.

    Raises:
        InputError: no axis is known in 8 shots.
    """
    parts = np.stack([np.asarray(p, dtype=np.float64) for p in (carried_deg, struck_deg, pressed_deg)], axis=1)
    found = []
    for k, axis in enumerate(AXIS_NAMES):
        rows = parts[:, :, k]
        rows = rows[np.isfinite(rows).all(axis=1)]
        if len(rows) >= LEAST_SHOTS:
            whole = rows.sum(axis=1)
            shares = tuple(_share(rows, part) for part in range(3))
            means = tuple(mean_interval(rows[:, part]) for part in range(3))
            found.append(
                AxisParts(
                    axis, len(rows), mean_interval(whole), (means[0], means[1], means[2]), float(whole.std(ddof=1)),
                    (shares[0], shares[1], shares[2]),
                )
            )  # fmt: skip
    if not found:
        most = int(np.isfinite(parts).all(axis=1).sum(axis=0).max())
        raise InputError(
            f"{most} shots show the parts of the rotation; from fewer than {LEAST_SHOTS} a habit cannot be told from "
            "chance",
            do="choose a wider set",
        )
    return tuple(found)


def parts_words(found: AxisParts) -> tuple[str, ...]:
    """A sentence for the habit and one for the scatter."""
    from quiethand.words import axis_words

    means = ", ".join(
        f"{axis_words(found.axis, part.value)} {name}" for name, part in zip(PARTS, found.parts_deg, strict=True)
    )
    shares = ", ".join(
        f"{100 * s.value:.0f} % ({100 * s.low:.0f} to {100 * s.high:.0f}) {name}"
        for name, s in zip(PARTS, found.scatter_share, strict=True)
    )
    return (
        f"{found.axis}: on average {axis_words(found.axis, found.whole_deg.value)} over {found.shots} shots: {means}.",
        f"{found.axis}: it scatters by {found.scatter_deg:.3f} deg from shot to shot; of that {shares}.",
    )


def _share(rows: Floats, part: int) -> Interval:
    def of(drawn: Floats) -> Floats:
        away = drawn - drawn.mean(axis=-2, keepdims=True)
        whole = away.sum(axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray((away[..., part] * whole).sum(axis=-1) / (whole**2).sum(axis=-1))

    low, high = bca_interval(of, rows, resamples=1999)
    return Interval(float(of(rows[None])[0]), low, high)
