"""The draw-force curve: force on the string against its distance from the pivot point, from brace to full draw.

Between measured points the force follows piecewise cubics that keep the points' shape: no bump or dip that was not
measured (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5, 1984, with the usual three-point slopes at the
ends). Points further apart than a few readings are joined by straight lines: no bend is made up there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.consistency import full_draw_m
from quiethand.bow.model import Bow
from quiethand.errors import InputError

__all__ = ["DrawForceCurve", "curve_of", "force_at", "from_points", "stored_energy_j", "with_let_off"]

Floats = NDArray[np.float64]

# ASTM F1544-11 has the force read every inch or less; where readings are over 2.5 in apart a bend cannot be told.
FURTHEST_APART_M: Final = 2.5 * 0.0254
# Generic compound, as fractions of the power stroke: a straight rise, a plateau, a straight fall into the valley. The
# proportions (7, 10 and 4 in of 21) are an illustration, not a measured bow.
COMPOUND_RISE: Final = 7 / 21
COMPOUND_FALL: Final = 4 / 21
# Generic recurve, force / peak = c y + (1 - c) y^2 over the fraction y of the stroke. c makes the stored energy 0.585
# of peak times stroke, between the four bows of table I in Tuijn and Kooi, Eur. J. Phys. 13, 1992 (0.581 to 0.595).
RECURVE_ENERGY_SHARE: Final = 0.585


@dataclass(frozen=True)
class DrawForceCurve:
    """Cubic pieces between points. Shapes: k points, k - 1 pieces."""

    position_m: Floats  # (k,) string to pivot point, rising from brace to full draw
    force_n: Floats  # (k,)
    slope_n_m: Floats  # (k - 1, 2) slope at either end of each piece
    curve_from: Literal["measured", "assumed"]
    notes: tuple[str, ...] = ()

    @property
    def brace_m(self) -> float:
        return float(self.position_m[0])

    @property
    def full_draw_m(self) -> float:
        return float(self.position_m[-1])

    @property
    def peak_n(self) -> float:
        return float(self.force_n.max())

    @property
    def holding_n(self) -> float:
        """Force at full draw."""
        return float(self.force_n[-1])


def curve_of(bow: Bow, let_off: float | None = None) -> DrawForceCurve:
    """The bow's measured curve, or a generic one of its kind, up to full draw.

    Args:
        bow: needs a curve, or else peak weight, draw length, brace height, kind and, for a compound, let-off.
        let_off: fraction of the peak weight in place of the bow's own; a measured valley is stretched to it.

    Raises:
        InputError: what is stated does not make a curve.
    """
    if bow.draw_force_curve is None:
        return _generic(bow, let_off)
    points = np.array(bow.draw_force_curve, dtype=np.float64)
    curve = from_points(points[:, 0], points[:, 1])
    full = full_draw_m(bow)
    if full is not None and full < curve.full_draw_m:
        curve = _cut(curve, full)
    return curve if let_off is None else with_let_off(curve, let_off)


def from_points(position_m: Floats, force_n: Floats) -> DrawForceCurve:
    """A measured curve through points; see the module for what lies between them.

    Args:
        position_m: shape (k,), strictly rising, k >= 2.
        force_n: shape (k,).
    """
    notes: tuple[str, ...] = ()
    slopes = _slopes(position_m, force_n)
    apart = np.diff(position_m) > FURTHEST_APART_M
    if apart.any():
        slopes[apart] = (np.diff(force_n) / np.diff(position_m))[apart, None]
        notes = ("draw-force curve: points over 2.5 in apart are joined by straight lines; read the force every inch",)
    return DrawForceCurve(position_m, force_n, slopes, "measured", notes)


def straight(position_m: Floats, force_n: Floats, *, notes: tuple[str, ...] = ()) -> DrawForceCurve:
    """An assumed curve of straight lines between points, shapes (k,)."""
    secant = np.diff(force_n) / np.diff(position_m)
    return DrawForceCurve(position_m, force_n, np.column_stack([secant, secant]), "assumed", notes)


def force_at(curve: DrawForceCurve, position_m: Floats) -> Floats:
    """Force in N at positions between brace and full draw, any shape."""
    piece = np.clip(np.searchsorted(curve.position_m, position_m, side="right") - 1, 0, len(curve.position_m) - 2)
    c = coefficients(curve)[piece]
    r = position_m - curve.position_m[piece]
    return np.asarray(c[..., 0] + r * (c[..., 1] + r * (c[..., 2] + r * c[..., 3])))


def coefficients(curve: DrawForceCurve) -> Floats:
    """Rising powers of the distance from each piece's left point, shape (k - 1, 4)."""
    h, f = np.diff(curve.position_m), curve.force_n
    left, right = curve.slope_n_m.T
    secant = np.diff(f) / h
    return np.column_stack([f[:-1], left, (3 * secant - 2 * left - right) / h, (left + right - 2 * secant) / h**2])


def work_at_points_j(curve: DrawForceCurve) -> Floats:
    """Area under the curve from its first point to each point, shape (k,)."""
    h, f = np.diff(curve.position_m), curve.force_n
    left, right = curve.slope_n_m.T
    pieces = h * (f[:-1] + f[1:]) / 2 + h**2 * (left - right) / 12  # the cubic's integral from its ends
    return np.concatenate([[0.0], np.cumsum(pieces)])


def stored_energy_j(curve: DrawForceCurve) -> float:
    """Area under the draw-force curve from brace to full draw (ASTM F1832)."""
    return float(work_at_points_j(curve)[-1])


def with_let_off(curve: DrawForceCurve, let_off: float) -> DrawForceCurve:
    """The curve with what lies beyond its last peak stretched in force, so that it holds (1 - let_off) of the peak."""
    peak = int(len(curve.force_n) - 1 - np.argmax(curve.force_n[::-1]))
    drop, wanted = curve.peak_n - curve.holding_n, curve.peak_n * let_off
    if drop <= 0.02 * curve.peak_n:
        if abs(drop - wanted) <= 1e-9 * curve.peak_n:
            return curve
        do = "leave let-off out, or state the bow without its curve"
        raise InputError("the draw-force curve does not let off, so this cannot be changed", where="let-off", do=do)
    stretch = wanted / drop
    force, slope = curve.force_n.copy(), curve.slope_n_m.copy()
    force[peak:] = curve.peak_n - (curve.peak_n - force[peak:]) * stretch
    slope[peak:] *= stretch
    note = f"the measured valley was stretched from {100 * drop / curve.peak_n:.1f} to {100 * let_off:.1f} % let-off"
    return DrawForceCurve(curve.position_m, force, slope, curve.curve_from, (*curve.notes, note))


def _generic(bow: Bow, let_off: float | None) -> DrawForceCurve:
    let_off = bow.let_off if let_off is None else let_off
    kind = bow.kind or ("compound" if let_off else None)
    full = full_draw_m(bow)
    needed = {
        "bow.kind": kind,
        "bow.peak_weight": bow.peak_weight_n,
        "bow.draw_length": full,
        "bow.brace_height": bow.brace_height_m,
        "bow.let_off": 0.0 if kind == "recurve" else let_off,
    }
    missing = [key for key, value in needed.items() if value is None]
    if bow.peak_weight_n is None or full is None or bow.brace_height_m is None or kind is None or missing:
        raise InputError(
            f"the launch model needs {', '.join(missing)}", where="set-up", do="state them, or bow.draw_force_curve"
        )
    brace, stroke, peak = bow.brace_height_m, full - bow.brace_height_m, bow.peak_weight_n
    if kind == "compound":
        at = brace + stroke * np.array([0.0, COMPOUND_RISE, 1 - COMPOUND_FALL, 1.0])
        note = "draw-force curve assumed: a rise over 1/3 of the stroke, a plateau, a fall over the last 4/21"
        return straight(at, peak * np.array([0.0, 1.0, 1.0, 1 - (let_off or 0.0)]), notes=(note,))
    if let_off:
        do = "leave --let-off out, or write bow.kind"
        raise InputError(f"let-off {let_off:g} for a recurve, which has none", where="let-off", do=do)
    c = 6 * RECURVE_ENERGY_SHARE - 2
    ends = np.array([[c, 2 - c]]) * peak / stroke
    note = "draw-force curve assumed: a generic recurve that stores 0.585 of peak weight times power stroke"
    return DrawForceCurve(np.array([brace, full]), np.array([0.0, peak]), ends, "assumed", (note,))


def _cut(curve: DrawForceCurve, full_m: float) -> DrawForceCurve:
    """The same curve up to `full_m`."""
    pieces = int(np.searchsorted(curve.position_m, full_m, side="left"))
    force = float(force_at(curve, np.array(full_m)))
    c, r = coefficients(curve)[pieces - 1], full_m - curve.position_m[pieces - 1]
    slope = curve.slope_n_m[:pieces].copy()
    slope[-1, 1] = c[1] + r * (2 * c[2] + 3 * r * c[3])
    return DrawForceCurve(
        np.append(curve.position_m[:pieces], full_m),
        np.append(curve.force_n[:pieces], force),
        slope,
        curve.curve_from,
        curve.notes,
    )


def _slopes(x: Floats, y: Floats) -> Floats:
    """Shape-keeping slopes at both ends of each piece, shape (k - 1, 2)."""
    h, secant = np.diff(x), np.diff(y) / np.diff(x)
    if len(x) == 2:
        return np.column_stack([secant, secant])
    slope = np.zeros(len(x))
    before, after = secant[:-1], secant[1:]
    same = before * after > 0
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):  # a flat neighbour is told by `same`
        inner = (w1 + w2) / (w1 / before + w2 / after)
    slope[1:-1] = np.where(same, inner, 0.0)
    slope[0] = _end_slope(h[0], h[1], secant[0], secant[1])
    slope[-1] = _end_slope(h[-1], h[-2], secant[-1], secant[-2])
    return np.column_stack([slope[:-1], slope[1:]])


def _end_slope(h0: float, h1: float, m0: float, m1: float) -> float:
    slope = ((2 * h0 + h1) * m0 - h0 * m1) / (h0 + h1)
    if slope * m0 <= 0:
        return 0.0
    return 3 * m0 if m0 * m1 < 0 and abs(slope) > abs(3 * m0) else slope
