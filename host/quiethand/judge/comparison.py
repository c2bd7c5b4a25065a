"""Two sets of shots compared: by how much a measure differs, how surely, and what so few shots could show at all.

The interval is a studentised bootstrap's (bootstrap-t): for means of few shots BCa covers too seldom (A. B. Owen,
Better bootstrap t confidence intervals for the mean, 2025; ours to be seen in METHOD.md). The test is a permutation of
Welch's (trimmed: Yuen's) t, which holds for unequal spreads too (A. Janssen, Statistics & Probability Letters 36,
1997). Where a shot is like the one before it, both take that into account.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from quiethand.errors import InputError
from quiethand.judge.at_target import AtTarget
from quiethand.judge.power import ALPHA, POWER, holm, shots_needed, smallest_difference
from quiethand.judge.resampling import (
    centre_and_error,
    generator_for,
    sign_patterns,
    split_permutations,
    studentised_quantiles,
)  # fmt: skip
from quiethand.judge.serial import Serial, serial_correlation

__all__ = ["LEAST_PAIRS", "LEAST_SHOTS", "Comparison", "Detectable", "compare", "compare_many", "could_show",
           "why_no_comparison"]  # fmt: skip

Floats = NDArray[np.float64]
Centre = Literal["mean", "trimmed"]

LEVEL: Final = 0.95
# With 5 and 5 shots the rarest of 252 deals has p 2/252; with 3 and 3 no outcome at all reaches 0.05 (2/20).
LEAST_SHOTS: Final = 5
LEAST_PAIRS: Final = 6  # 2 of 64 sign patterns are 0.031; of 5 pairs' 32 they are 0.063 and never reach 0.05


@dataclass(frozen=True)
class Detectable:
    """What two sets could show, from their numbers and scatter alone: to be read before the difference."""

    shots_a: int
    shots_b: int
    sd: float  # of a single shot within its set (pooled), or of a single pair's difference; widened where serial
    smallest: float  # the difference found in `power` of such comparisons, in the measure's unit
    smallest_mm: float | None  # at the target
    alpha: float = ALPHA
    power: float = POWER


@dataclass(frozen=True)
class Comparison:
    """Set b less set a, in the measure's unit; `low` to `high` is the 95 % interval."""

    measure: str
    unit: str
    paired: bool
    centre: Centre
    shots_a: int
    shots_b: int
    a: float
    b: float
    difference: float
    low: float
    high: float
    p_value: float  # two-sided
    p_adjusted: float  # for all measures looked at together (Holm); alone it is p_value
    exact: bool  # every arrangement was gone through, not a sample of them
    serial: Serial
    could_show: Detectable
    target: AtTarget | None
    at_target_mm: tuple[float, float, float] | None  # difference, low, high at the target; low <= high
    left_out: int  # shots that lack the measure
    looked_at: int = 1  # measures in the family of p_adjusted

    @property
    def shown(self) -> bool:
        """Whether the sets differ by more than chance explains, all measures looked at being taken into account."""
        return self.p_adjusted < ALPHA

    @property
    def not_ruled_out(self) -> float:
        """The largest difference, either way, that these shots do not rule out, in the measure's unit."""
        return max(abs(self.low), abs(self.high))

    def shots_for(self, difference: float) -> int | None:
        """Shots in each set (or pairs) to find a true difference of this size in 8 of 10 tries; None: not in reach."""
        if not self.could_show.sd > 0:
            return None
        found = shots_needed(difference, self.could_show.sd, paired=self.paired)
        return math.ceil(found) if math.isfinite(found) else None


def why_no_comparison(shots_a: int, shots_b: int, *, paired: bool = False) -> str | None:
    """Why so many shots cannot be compared, in words; None where they can."""
    if paired and shots_a < LEAST_PAIRS:
        return (
            f"{shots_a} pairs; with fewer than {LEAST_PAIRS} even differences that all go one way are no rarer than 1 "
            "in 20 by chance"
        )
    if not paired and min(shots_a, shots_b) < LEAST_SHOTS:
        return (
            f"{shots_a} and {shots_b} shots; with fewer than {LEAST_SHOTS} in a set chance cannot be told from a "
            "difference"
        )
    return None


def could_show(
    a: Iterable[float | None], b: Iterable[float | None], *, paired: bool = False, target: AtTarget | None = None
) -> Detectable:
    """The smallest difference that these shots could show, from their scatter alone.

    Args:
        a, b: the measure in each shot, in order of time; None and NaN are left out (of pairs: the pair).

    Raises:
        InputError: too few, or unequal numbers of a pair.
    """
    x, y, _ = _known(a, b, paired=paired)
    return _could_show(x, y, paired=paired, target=target, serial=_serial(x, y, paired=paired))


def compare(
    a: Iterable[float | None],
    b: Iterable[float | None],
    *,
    measure: str = "",
    unit: str = "",
    paired: bool = False,
    centre: Centre = "mean",
    target: AtTarget | None = None,
) -> Comparison:
    """Compare one measure of two sets.

    Args:
        a, b: the measure in each shot, in order of time; None and NaN are left out. Paired: shot i of a belongs to
            shot i of b, and a pair that lacks either is left out.
        centre: "mean", or "trimmed": the mean without the highest and lowest fifth, which one wild shot hardly moves.
        target: what a unit comes to at the target (`at_target`).

    Raises:
        InputError: too few, unequal numbers of a pair, or no scatter at all.
    """
    x, y, left_out = _known(a, b, paired=paired)
    trimmed = centre == "trimmed"
    rng = generator_for(x, y)
    serial = _serial(x, y, paired=paired)
    sets = (y - x,) if paired else (x, y)
    pieces = [centre_and_error(s, trimmed=trimmed) for s in sets]
    difference = float(pieces[0][0]) if paired else float(pieces[1][0] - pieces[0][0])
    error = math.sqrt(sum(float(e2) for _, e2 in pieces)) * serial.widen
    if error == 0:
        raise InputError(
            "every shot of a set shows the same value", where=measure, do="chance cannot be judged from that"
        )
    lower, upper = studentised_quantiles(sets, trimmed=trimmed, level=LEVEL, rng=rng)
    low, high = difference - error * upper, difference - error * lower
    p, exact = _permuted(sets, abs(difference / error), trimmed=trimmed, rng=rng)
    at_mm = None
    if target is not None:
        ends = sorted((low * target.mm_per_unit, high * target.mm_per_unit))
        at_mm = (difference * target.mm_per_unit, ends[0], ends[1])
    return Comparison(
        measure, unit, paired, centre, len(x), len(y),
        float(centre_and_error(x, trimmed=trimmed)[0]), float(centre_and_error(y, trimmed=trimmed)[0]),
        difference, low, high, p, p, exact, serial,
        _could_show(x, y, paired=paired, target=target, serial=serial), target, at_mm, left_out,
    )  # fmt: skip


def compare_many(
    measures: Mapping[str, tuple[Sequence[float | None], Sequence[float | None]]],
    *,
    units: Mapping[str, str] | None = None,
    targets: Mapping[str, AtTarget | None] | None = None,
    paired: bool = False,
    centre: Centre = "mean",
) -> tuple[list[Comparison], dict[str, str]]:
    """Several measures of the same two sets, each p raised for their number (Holm).

    Returns:
        The comparisons in the given order, and, for measures that cannot be compared, why.
    """
    found, refused = [], {}
    for name, (a, b) in measures.items():
        unit, target = (units or {}).get(name, ""), (targets or {}).get(name)
        try:
            found.append(compare(a, b, measure=name, unit=unit, paired=paired, centre=centre, target=target))
        except InputError as why:
            refused[name] = str(why)
    adjusted = holm([c.p_value for c in found])
    return [replace(c, p_adjusted=p, looked_at=len(found)) for c, p in zip(found, adjusted, strict=True)], refused


def _known(a: Iterable[float | None], b: Iterable[float | None], *, paired: bool) -> tuple[Floats, Floats, int]:
    x, y = (np.array([np.nan if v is None else v for v in values], dtype=np.float64) for values in (a, b))
    if paired:
        if len(x) != len(y):
            raise InputError(
                f"{len(x)} and {len(y)} shots make no pairs", do="compare them unpaired, or choose as many of each"
            )
        both = np.isfinite(x) & np.isfinite(y)
        left_out = 2 * int(np.count_nonzero(~both))
        x, y = x[both], y[both]
    else:
        left_out = int(np.count_nonzero(~np.isfinite(x)) + np.count_nonzero(~np.isfinite(y)))
        x, y = x[np.isfinite(x)], y[np.isfinite(y)]
    why = why_no_comparison(len(x), len(y), paired=paired)
    if why is not None:
        raise InputError(why, do="choose wider sets, or shoot more")
    return x, y, left_out


def _serial(x: Floats, y: Floats, *, paired: bool) -> Serial:
    return serial_correlation((y - x,) if paired else (x, y))


def _could_show(x: Floats, y: Floats, *, paired: bool, target: AtTarget | None, serial: Serial) -> Detectable:
    n, m = len(x), len(y)
    if paired:
        sd = float(np.std(y - x, ddof=1))
    else:
        sd = math.sqrt(((n - 1) * x.var(ddof=1) + (m - 1) * y.var(ddof=1)) / (n + m - 2))
    sd *= serial.widen
    smallest = smallest_difference(sd, n, None if paired else m)
    return Detectable(n, m, sd, smallest, None if target is None else smallest * abs(target.mm_per_unit))


def _permuted(sets: tuple[Floats, ...], seen: float, *, trimmed: bool, rng: np.random.Generator) -> tuple[float, bool]:
    """Two-sided p, and whether all arrangements were gone through."""
    if len(sets) == 1:
        signs, exact = sign_patterns(len(sets[0]), rng)
        centre, squared = centre_and_error(signs * sets[0], trimmed=trimmed)
    else:
        n = len(sets[0])
        order, exact = split_permutations(n, len(sets[1]), rng)
        dealt = np.concatenate(sets)[order]
        (a, a2), (b, b2) = (centre_and_error(part, trimmed=trimmed) for part in (dealt[:, :n], dealt[:, n:]))
        centre, squared = b - a, a2 + b2
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.abs(centre) / np.sqrt(squared)
    t[np.isnan(t)] = 0.0
    beyond = int(np.count_nonzero(t >= seen * (1 - 1e-9)))
    return (beyond / len(t) if exact else (beyond + 1) / (len(t) + 1)), exact
