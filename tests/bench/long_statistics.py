"""The tables of `host/METHOD.md` on statistics: do intervals cover, do limits alarm, is power as stated?

Run `python tests/bench/long_statistics.py [--trials 400] [usual] [comparison] [group] [factors]`.
"""

from __future__ import annotations

import argparse
import math

import numpy as np
from numpy.typing import NDArray
from quiethand.judge.comparison import compare
from quiethand.judge.group import group
from quiethand.judge.power import smallest_difference
from quiethand.judge.radial import mean_radius, radius_holding
from quiethand.judge.usual import is_unusual, usual
from quiethand.judge.usual_ahead import expected, usual_ahead

Floats = NDArray[np.float64]
RNG = np.random.default_rng(2026)


def series(n: int, kind: str) -> Floats:
    """One archer's measure in order: independent, alike to the shot before, or drifting, in standard deviations."""
    x = RNG.normal(size=n)
    if kind.startswith("alike"):
        r, steps = float(kind[6:]), x.copy()
        for i in range(1, n):
            x[i] = r * x[i - 1] + math.sqrt(1 - r * r) * steps[i]
    return x + np.arange(n) * (float(kind[6:]) if kind.startswith("drift") else 0.0)


def told_usual(trials: int) -> None:
    """False alarms per 100 usual shots where 5 are set: plain usual of the last 50, and the one that looks ahead."""
    print("| earlier shots | series | plain | ahead |\n| --- | --- | --- | --- |")
    for n in (5, 10, 20, 50, 100, 500):
        for kind in ("independent", "alike 0.3", "alike 0.6", "drift 0.02", "drift 0.05"):
            plain = ahead = 0
            for _ in range(trials):
                x = series(n + 1, kind)
                plain += bool(is_unusual(float(x[-1]), usual(x[-51:-1], false_alarm=0.05)))
                ahead += bool(is_unusual(float(x[-1]), usual_ahead(x[:-1], false_alarm=0.05)))
            print(f"| {n} | {kind} | {100 * plain / trials:.1f} | {100 * ahead / trials:.1f} |", flush=True)


def told_comparison(trials: int) -> None:
    print("| values | shots | inside 95 % | p under 0.05 | found at the smallest difference |\n" + "| --- " * 5 + "|")
    for kind in ("independent", "exponential", "alike 0.3", "alike 0.6"):
        for n, m in ((5, 5), (12, 12), (12, 30), (40, 40)):
            inside = alarms = found = 0
            step = smallest_difference(1.0, n, m)
            for _ in range(trials):
                a, b = (RNG.exponential(size=k) if kind == "exponential" else series(k, kind) for k in (n, m))
                c = compare(a, b)
                inside += c.low <= 0 <= c.high
                alarms += c.p_value < 0.05
                found += compare(a, b + step).p_value < 0.05
            rates = (f"{100 * k / trials:.1f}" for k in (inside, alarms, found))
            print(f"| {kind} | {n} and {m} | {' | '.join(rates)} |", flush=True)


def told_group(trials: int) -> None:
    print("| longer by | impacts | CEP | mean radius | major | minor | centre |\n" + "| --- " * 7 + "|")
    for ratio in (1.0, 1.5, 3.0):
        for n in (5, 8, 12, 30):
            inside = np.zeros(5)
            truths = (radius_holding(0.5, ratio, 1), mean_radius(ratio, 1), ratio, 1.0, 0.0)
            for _ in range(trials):
                g = group(*(RNG.normal(size=(n, 2)) * [ratio, 1]).T)
                e = g.ellipse
                figures = (g.cep_mm, g.mean_radius_mm, e.major_sd_mm, e.minor_sd_mm, g.centre_right_mm)
                inside += [f.low <= t <= f.high for f, t in zip(figures, truths, strict=True)]
            print(f"| {ratio:g} | {n} | " + " | ".join(f"{100 * k / trials:.1f}" for k in inside) + " |", flush=True)


def told_factors(trials: int) -> None:
    """The tables of `judge/usual.py`: quantiles of |new - centre| / (1.4826 MAD)."""
    shares = np.array([0.002, 0.005, 0.01, 0.02, 0.05, 0.1])
    for n in (10, 12, 14, 16, 20, 30, 40, 60, 100, 200):
        x, new = RNG.normal(size=(1000 * trials, n)), RNG.normal(size=1000 * trials)
        centre = np.median(x, axis=1)
        k = np.abs(new - centre) / (1.4826 * np.median(np.abs(x - centre[:, None]), axis=1))
        print("usual", n, np.quantile(k, 1 - shares).round(3))
    for n in (20, 22, 26, 30, 36, 44, 60):
        errors, following = expected(RNG.normal(size=(n, 400 * trials)))
        middle = np.median(errors, axis=0)
        k = np.abs(RNG.normal(size=400 * trials) - following - middle)
        k /= 1.4826 * np.median(np.abs(errors - middle), axis=0)
        print("ahead", n, np.quantile(k, 1 - shares).round(3))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=400)
    parser.add_argument("sections", nargs="*", default=["usual", "comparison", "group"])
    asked = parser.parse_args()
    for section in asked.sections:
        {"usual": told_usual, "comparison": told_comparison, "group": told_group, "factors": told_factors}[section](
            asked.trials
        )
