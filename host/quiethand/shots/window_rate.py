"""How the bow's rate of turn ran from before the release to the departure: a smooth model fitted to clean samples.

Everything the sensor shows once the string has stopped may hold the shock: a causal filter answers at once, while the
motion it shows is one delay old. So the last samples of the window, by motion time, are spoiled; the model, fitted to
the clean ones, takes their place up to the departure. Per axis the rate is

    w(u) = w0 + w1 u + w2 u^2                       the hold, tremor and all
         + [u > 0] (p1 u + p2 u^2) + p3 V(u)        what presses after the release; V is the string's impulse so far
         + q f(u)                                   and what V's course leaves out; f is the push as measured
         + j S(u)                                   a blow about the release, S from 0 to 1 as it is given
         + g f(u)                                   not the bow's: a gyro feels acceleration

with priors as wide as bows and archers differ, so that the fit holds with few samples. Nothing in one shot tells q from
g; from shot to shot `felt` weighs them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.budget import GRAVITY_M_S2
from quiethand.shots.middle import median

__all__ = ["WindowRate", "fit_window_rate", "grid", "pluck_course"]

_UNIT_S: Final = 10e-3
_BEFORE_S: Final = 25e-3
_STEP_S: Final = 1e-4
# Standard deviations of the weights in deg/s, rows cant, pitch, yaw. Tremor of 0.3 deg/s at 10 Hz bends by 0.06 in
# 10 ms squared; torques of some N m on a tenth to a half kg m2 turn by 3 deg/s in 10 ms.
_PRIOR_DEG_S: Final = {
    "w0": (30.0, 30.0, 30.0),
    "w1": (0.6, 0.6, 0.6),
    "w2": (0.2, 0.2, 0.2),
    "p1": (1.5, 2.0, 1.5),
    "p2": (1.0, 1.5, 1.0),
    "p3": (2.0, 6.0, 2.0),
    # Per g of the push. A tenth of a millisecond early or late, V differs by a fiftieth of its last where the string
    # pulls hardest, at some 4 g: a mount that gives, a gyro's delay, an instant that is off are all of this size.
    "q": (0.01, 0.03, 0.01),
}
_BLOW_FINGERS_DEG_S: Final = (0.15, 0.15, 3.0)
# A blow from a trigger hand or a jump of the grip is rare and small: 3 mN m s about the vertical.
_BLOW_TRIGGER_DEG_S: Final = (0.15, 0.15, 0.6)


@dataclass(frozen=True)
class WindowRate:
    """The fit. `u` is seconds since the release; weights in rad/s, basis terms in the order of the module's formula."""

    weights: NDArray[np.float64]  # (8, 3)
    covariance: NDArray[np.float64]  # (3, 8, 8)
    felt: NDArray[np.float64]  # (3,) g, rad/s per m/s2
    felt_sigma: NDArray[np.float64]  # (3,)
    felt_force_m_s2: NDArray[np.float64]  # (n,) f on the grid
    u_s: NDArray[np.float64]  # (n,) fine grid from _BEFORE_S before the release to the departure
    basis: NDArray[np.float64]  # (n, 8)
    blow: NDArray[np.float64]  # (n,) S on the grid
    residual_rad_s: NDArray[np.float64]  # (3,) rms of what is left over
    # what the samples alone say of the eight weights and g, and how far those differ beforehand
    information: NDArray[np.float64]  # (3, 9, 9)
    seen: NDArray[np.float64]  # (3, 9)
    spread: NDArray[np.float64]  # (3, 9)

    def felt_rate(self, u_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """What the gyro shows at given times because it feels the push, (m, 3) rad/s."""
        return np.asarray(np.outer(np.interp(u_s, self.u_s, self.felt_force_m_s2), self.felt))

    def row(self, u_s: float) -> NDArray[np.float64]:
        """The basis at one time, shape (8,)."""
        return np.asarray(rows_at(self.u_s, self.basis, np.array([u_s]))[0])

    def rows(self, u_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The basis at several times, shape (m, 8)."""
        return rows_at(self.u_s, self.basis, u_s)

    def rate(self, u_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Rates at given times, (m, 3) rad/s."""
        return np.asarray(rows_at(self.u_s, self.basis, u_s) @ self.weights)

    def sigma(self, row: NDArray[np.float64]) -> NDArray[np.float64]:
        """Standard uncertainty of row @ weights, shape (3,)."""
        return np.asarray(np.sqrt(np.einsum("i,kij,j->k", row, self.covariance, row)))


def rows_at(
    grid_s: NDArray[np.float64], columns: NDArray[np.float64], at_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Columns (n, k) tabulated on a rising grid, interpolated at times (m,) with the ends held: shape (m, k)."""
    i = np.clip(np.searchsorted(grid_s, at_s) - 1, 0, len(grid_s) - 2)
    part = np.clip((at_s - grid_s[i]) / (grid_s[i + 1] - grid_s[i]), 0.0, 1.0)[:, None]
    low = columns[i]
    return np.asarray(low + (columns[i + 1] - low) * part)


def pluck_course(
    time_s: NDArray[np.float64],
    sideways_m_s2: NDArray[np.float64],
    noise_m_s2: float,
    *,
    release_s: float,
    fingers: bool,
    u_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """S on the grid u: how much of the blow has been given by then.

    The string rolls off the fingers sideways while their hold fades; the riser's sideways acceleration shows it, and
    its running sum is the course of the turn. Where it does not stand out a course of usual shape is taken: from
    fingers about the release, from a trigger or the grip just after it.
    """
    centre, width = (-0.5e-3, 0.8e-3) if fingers else (1.5e-3, 0.8e-3)
    usual = 1 / (1 + np.exp(-1.702 * (u_s - centre) / width))
    near = (time_s > release_s - 6e-3) & (time_s < release_s + 4.5e-3)
    if not fingers or near.sum() < 6:
        return usual
    t, y = time_s[near] - release_s, sideways_m_s2[near]
    rest = (t < -4e-3) | (t > 3.5e-3)
    if rest.sum() < 2:
        return usual
    y = y - median(y[rest])
    peak = int(np.argmax(np.abs(y)))
    if abs(y[peak]) < max(1.5, 12 * noise_m_s2):
        return usual
    pulse = np.maximum(y * np.sign(y[peak]) - 0.06 * abs(y[peak]), 0.0)
    # only the hump around the peak: what rises again later is not the pluck
    low = np.flatnonzero(pulse <= 0)
    first = low[low < peak].max(initial=-1) + 1
    last = low[low > peak].min(initial=len(pulse))
    pulse[:first] = 0.0
    pulse[last:] = 0.0
    fine = np.interp(u_s, t, pulse, left=0.0, right=0.0)
    course = np.cumsum(fine)
    return course / course[-1] if course[-1] > 0 else usual


def fit_window_rate(
    time_s: NDArray[np.float64],
    rate_rad_s: NDArray[np.float64],
    noise_rad_s: NDArray[np.float64],
    *,
    release_s: float,
    departure_s: float,
    string_impulse: tuple[NDArray[np.float64], NDArray[np.float64]] | None,
    blow: NDArray[np.float64],
    fingers: bool,
    felt_force_m_s2: NDArray[np.float64],
    felt_mean: NDArray[np.float64],
    felt_sigma: NDArray[np.float64],
    felt_spread: float,
    u_s: NDArray[np.float64],
) -> WindowRate | None:
    """Fits the model to clean samples, (m,) motion times and (m, 3) rates; None where there are too few.

    Args:
        noise_rad_s: standard deviation of one sample, shape (3,), raised where neighbours share their noise.
        string_impulse: times from the release and the string's impulse so far over its last, of the push model.
        blow: S on the grid `u_s`.
        felt_force_m_s2: change of specific force along the arrow on the grid.
        felt_mean, felt_sigma: what is known beforehand of the gyro's answer to it, each (3,) in rad/s per m/s2.
        felt_spread: how far that answer differs between sensors.
    """
    total = departure_s - release_s
    after = np.maximum(u_s, 0.0) / _UNIT_S
    if string_impulse is None:
        impulse = np.clip(u_s / total, 0, 1) ** 2
    else:
        own = string_impulse[0][-1]
        impulse = np.interp(u_s * own / total, string_impulse[0], string_impulse[1], left=0.0)
    course = [np.ones_like(u_s), u_s / _UNIT_S, (u_s / _UNIT_S) ** 2, after, after**2, impulse]
    basis = np.stack([*course, felt_force_m_s2 / GRAVITY_M_S2, blow], axis=1)
    use = (time_s > release_s - _BEFORE_S) & (time_s < departure_s)
    if use.sum() < 8:
        return None
    u, w = time_s[use] - release_s, rate_rad_s[use]
    columns = np.column_stack([basis, felt_force_m_s2])
    rows = rows_at(u_s, columns, u)
    weights, covariance = np.zeros((9, 3)), np.zeros((3, 9, 9))
    information, seen, spread = np.zeros((3, 9, 9)), np.zeros((3, 9)), np.zeros((3, 9))
    residual = np.zeros(3)
    blows = _BLOW_FINGERS_DEG_S if fingers else _BLOW_TRIGGER_DEG_S
    for k in range(3):
        spread[k] = np.append(np.deg2rad([*(v[k] for v in _PRIOR_DEG_S.values()), blows[k]]), felt_spread)
        information[k], seen[k] = rows.T @ rows / noise_rad_s[k] ** 2, rows.T @ w[:, k] / noise_rad_s[k] ** 2
        known = 1 / np.append(spread[k, :8], felt_sigma[k]) ** 2
        covariance[k] = np.linalg.inv(information[k] + np.diag(known))
        right = seen[k].copy()
        right[8] += felt_mean[k] * known[8]
        weights[:, k] = covariance[k] @ right
        residual[k] = np.sqrt(np.mean((w[:, k] - rows @ weights[:, k]) ** 2))
    return WindowRate(
        weights[:8],
        covariance[:, :8, :8],
        weights[8],
        np.sqrt(covariance[:, 8, 8]),
        felt_force_m_s2,
        u_s,
        basis,
        blow,
        residual,
        information,
        seen,
        spread,
    )


def grid(total_s: float) -> NDArray[np.float64]:
    """Times since the release on which shapes are tabulated."""
    n_before = round(_BEFORE_S / _STEP_S)
    n_after = int(np.ceil(total_s / _STEP_S))
    return np.concatenate([np.arange(-n_before, n_after) * _STEP_S, [total_s]])
