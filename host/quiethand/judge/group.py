"""A group of impacts: centre, spread, ellipse, circular error probable, mean radius, each with its 95 % interval.

Right and up in mm from the middle of the face, as the archer sees it. Intervals hold for impacts that scatter normally;
the spread's by chi-squared, about as surely as stated from 5 impacts on (METHOD.md has the simulation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.faces import score
from quiethand.errors import InputError
from quiethand.judge.radial import mean_radius, radius_holding, widest_distance

if TYPE_CHECKING:
    from quiethand.bow.faces import Face

__all__ = ["LEAST_IMPACTS", "Ellipse", "Group", "Interval", "Scores", "group", "scores", "why_no_group"]

Floats = NDArray[np.float64]

LEVEL: Final = 0.95
# Of 4 impacts the spread is known to between 0.6 and 2.9 times itself; any figure of it would be chance.
LEAST_IMPACTS: Final = 5
NOT_ROUND: Final = 0.05


@dataclass(frozen=True)
class Interval:
    """A figure and its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Ellipse:
    """The scatter's own axes. Its outline at one standard deviation holds 39 % of the impacts, at 2.45 of them 95 %."""

    major_sd_mm: Interval
    minor_sd_mm: Interval
    angle_deg: float  # of the major axis, from right towards up, over -90 to 90
    angle_sigma_deg: float
    round_p: float  # how likely a round scatter is to look as long as this (exact, Mauchly 1940)

    @property
    def long(self) -> bool:
        """Whether the group is longer one way than chance explains; else its angle says nothing."""
        return self.round_p < NOT_ROUND


@dataclass(frozen=True)
class Group:
    impacts: int
    centre_right_mm: Interval
    centre_up_mm: Interval
    sd_right_mm: Interval
    sd_up_mm: Interval
    covariance_mm2: tuple[tuple[float, float], tuple[float, float]]
    ellipse: Ellipse
    cep_mm: Interval  # radius about the group's own centre that holds half of all impacts
    mean_radius_mm: Interval  # of all impacts about their true centre: sqrt(n / (n - 1)) x the mean about the shown one
    widest_mm: float  # between two impacts; it grows with their number, so compare equal numbers alone


@dataclass(frozen=True)
class Scores:
    """By the World Archery faces: a shaft that touches a line scores the higher value."""

    face: str
    points: tuple[int, ...]  # of each impact, 0 is a miss
    total: int
    mean: float
    tens: int
    inner_tens: int
    close_calls: tuple[int, ...]  # index of impacts whose edge lies so near a line that the place given cannot decide


def why_no_group(impacts: int) -> str | None:
    """Why so few impacts make no group, in words; None where they do."""
    if impacts >= LEAST_IMPACTS:
        return None
    return f"{impacts} impacts; from fewer than {LEAST_IMPACTS} the size of a group cannot be told from chance"


def group(right_mm: Sequence[float] | Floats, up_mm: Sequence[float] | Floats) -> Group:
    """The group's figures.

    Args:
        right_mm, up_mm: shape (n,), finite.

    Raises:
        InputError: fewer than 5 impacts, or all in one line or place.
    """
    points = np.column_stack([np.asarray(right_mm, dtype=np.float64), np.asarray(up_mm, dtype=np.float64)])
    n = len(points)
    why = why_no_group(n)
    if why is not None:
        raise InputError(why, do="choose a wider span of days, or enter more impacts")
    centre = points.mean(axis=0)
    away = points - centre
    covariance = away.T @ away / (n - 1)
    (minor2, major2), axes = np.linalg.eigh(covariance)
    if not minor2 > 1e-12 * max(major2, 1e-300):
        raise InputError("the impacts lie in one line or place", where="impacts", do="check what was entered")
    sd, major, minor = np.sqrt(np.diag(covariance)), math.sqrt(major2), math.sqrt(minor2)
    middle = [_centre(c, s, n) for c, s in zip(centre, sd, strict=True)]
    spread = [_scaled(s, n - 1) for s in sd]
    x, y = axes[:, 1]
    angle = math.degrees(math.atan2(y, x))
    angle = (angle + 90) % 180 - 90
    apart = major2 - minor2
    angle_sigma = math.degrees(math.sqrt(major2 * minor2 / (n - 1)) / apart) if apart > 0 else math.inf
    roundness = 4 * major2 * minor2 / (major2 + minor2) ** 2
    # the minor axis was chosen as the shortest, which costs it a degree of freedom
    ellipse = Ellipse(
        _scaled(major, n - 1), _scaled(minor, n - 2), angle, angle_sigma, float(roundness ** ((n - 2) / 2))
    )
    # sum of squares of both directions: as of so many independent ones (Satterthwaite 1946)
    freedom = (n - 1) * (major2 + minor2) ** 2 / (major2**2 + minor2**2)
    # about the true centre the mean radius is larger by sqrt(n / (n - 1)); the CEP follows it, by the scatter's shape:
    # from the sample's own covariance it would be a tenth too small for five impacts
    radius = float(np.hypot(away[:, 0], away[:, 1]).mean()) * math.sqrt(n / (n - 1))
    cep = radius * radius_holding(0.5, major, minor) / mean_radius(major, minor)
    return Group(
        n, middle[0], middle[1], spread[0], spread[1],
        ((float(covariance[0, 0]), float(covariance[0, 1])), (float(covariance[1, 0]), float(covariance[1, 1]))),
        ellipse, _scaled(cep, freedom), _scaled(radius, freedom), widest_distance(points),
    )  # fmt: skip


def scores(
    face: Face,
    right_mm: Sequence[float] | Floats,
    up_mm: Sequence[float] | Floats,
    *,
    shaft_mm: Sequence[float | None] | float | None = None,
    place_sigma_mm: float = 0.5,
) -> Scores:
    """The score of impacts on a face.

    Args:
        shaft_mm: outside diameter, one for all or one each; None: not known, so only the middle counts.
        place_sigma_mm: how well the places are known; an edge within twice this of a line is a close call.
    """
    shafts = [shaft_mm] * len(right_mm) if shaft_mm is None or isinstance(shaft_mm, (int, float)) else list(shaft_mm)
    hits = [score(face, float(x), float(y), d or 0.0) for x, y, d in zip(right_mm, up_mm, shafts, strict=True)]
    points = tuple(hit.points for hit in hits)
    return Scores(
        face.name, points, sum(points), float(np.mean(points)) if points else 0.0, points.count(10),
        sum(hit.inner_ten for hit in hits),
        tuple(i for i, hit in enumerate(hits) if hit.line_mm <= 2 * place_sigma_mm),
    )  # fmt: skip


def _centre(value: float, sd: float, n: int) -> Interval:
    from scipy.special import stdtrit

    reach = float(stdtrit(n - 1, (1 + LEVEL) / 2)) * sd / math.sqrt(n)
    return Interval(float(value), float(value - reach), float(value + reach))


def _scaled(value: float, freedom: float) -> Interval:
    """A standard deviation, or what is proportional to one, with so many degrees of freedom."""
    from scipy.special import gammaincinv

    low, high = (2 * float(gammaincinv(freedom / 2, p)) for p in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return Interval(float(value), float(value * math.sqrt(freedom / high)), float(value * math.sqrt(freedom / low)))
