"""Release by the first stir of the riser: a change point near the instant that push and launch model already suggest.

A trigger's break leaves the hand's push and the string's pull out of balance at once, and often shakes the riser.
Before it, nothing but the hold: a line and noise. From it on, each axis may leave that line: a step, a slope and a
curve with wide priors (the push), and a burst (white, dying within milliseconds) of unknown size. For every instant
on a grid the coefficients are integrated out, which leaves the probability of the samples given the instant; the grid
is weighted by what is known beforehand. Fingers let go gradually, so that the first stir is not the release.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.middle import median
from quiethand.shots.timing_shock import ramp_response, step_response

__all__ = ["Onset", "release_onset"]

# The push's first 3 ms in m/s2, per ms and per ms^2: balance upset by some hundredths of the holding force, and cams
# that come round (spread of recurve and compound models).
_STEP_M_S2: Final = 1.0
_SLOPE_M_S2: Final = 0.8
_CURVE_M_S2: Final = 0.6
_LAG_S: Final = 0.4e-3  # the structure between grip and sensor gives a little
_BURSTS_M_S2: Final = (0.0, 0.1, 0.4, 2.0)
_BURST_LASTS_S: Final = 2e-3
_AFTER_S: Final = 3.0e-3
_BEFORE_S: Final = 9e-3
_GRID_S: Final = 4e-5
# A click may come a little before or after the release, so that the sharpest stir is not always the one: with this
# share the onset is taken to say nothing.
_MAY_MISLEAD: Final = 0.03
# From the grip, where the riser first stirs, to the sensor: rigid and at once, or bending and as late as a shock.
_PATH_S: Final = 0.08e-3
_PATH_SIGMA_S: Final = 0.06e-3


@dataclass(frozen=True)
class Onset:
    release_s: float
    sigma_s: float
    weight: float  # how much likelier the best instant is than a typical one, natural logarithm


def release_onset(
    time_s: NDArray[np.float64],
    force_m_s2: NDArray[np.float64],
    noise_m_s2: NDArray[np.float64],
    *,
    expected_s: float,
    expected_sigma_s: float,
    width_s: float,
) -> Onset | None:
    """The release from (n,) times with the delay taken off and (n, 3) acceleration; None where too few samples.

    Args:
        noise_m_s2: standard deviation of one sample of the hold, shape (3,).
        expected_s, expected_sigma_s: what is known without it.
        width_s: width of the filter's step response.
    """
    reach = 3.5 * expected_sigma_s
    onset = np.arange(expected_s - reach, expected_s + reach + _GRID_S / 2, _GRID_S) + _PATH_S
    used = (time_s > onset[0] - _BEFORE_S) & (time_s < onset[0] + _AFTER_S)
    if used.sum() < 9 or (time_s[used] < onset[0]).sum() < 6:
        return None
    t = time_s[used]
    u = t[None, :] - onset[:, None]
    z = u / width_s
    ramp = ramp_response(z) * width_s / 1e-3
    late = np.maximum(u, 0) / 1e-3
    columns = np.stack(
        [
            np.ones_like(u),
            (u + _BEFORE_S / 2) / _BEFORE_S,
            step_response(z) * _STEP_M_S2,
            (1 - np.exp(-np.maximum(u, 0) / _LAG_S)) * _STEP_M_S2,
            ramp * _SLOPE_M_S2,
            late**2 * _CURVE_M_S2,
            np.empty_like(u),
        ],
        axis=2,
    )  # (grid, n, 7)
    ones = np.eye(columns.shape[2])
    first_burst = u > -0.5 * width_s
    decay = np.exp(-np.maximum(u, 0) / _BURST_LASTS_S) * first_burst
    total = np.zeros((len(_BURSTS_M_S2), len(onset)))
    before = t < onset[0]
    for k in range(3):
        force = force_m_s2[used, k]
        # With y as one column more, the last pivot of Cholesky's factor is what the others leave of it, and the rest
        # give the determinant: a third of the time of solving for the coefficients.
        columns[:, :, -1] = force - median(force[before])
        for b, burst in enumerate(_BURSTS_M_S2):
            variance = noise_m_s2[k] ** 2 + (burst * decay) ** 2
            scaled = columns / variance[:, :, None]
            pivots = np.diagonal(np.linalg.cholesky(scaled.transpose(0, 2, 1) @ columns + ones), axis1=1, axis2=2)
            left = pivots[:, -1] ** 2 - 1.0
            total[b] -= 0.5 * (left + np.log(variance).sum(1)) + np.log(pivots[:, :-1]).sum(1)
    by_onset = np.logaddexp.reduce(total, axis=0)
    prior = np.exp(-0.5 * ((onset - _PATH_S - expected_s) / expected_sigma_s) ** 2)
    prior /= prior.sum()
    share = np.exp(by_onset - by_onset.max())
    evidence = float(share @ prior)
    weight = float(np.log(share.max() / max(evidence, 1e-300)))
    told = share * prior / evidence
    told = (1 - _MAY_MISLEAD) * told + _MAY_MISLEAD * prior
    mean = float(told @ onset)
    sigma = float(np.sqrt(told @ (onset - mean) ** 2 + _GRID_S**2 + _PATH_SIGMA_S**2))
    return Onset(mean - _PATH_S, min(sigma, expected_sigma_s), weight)
