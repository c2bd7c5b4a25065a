"""Where the draw ends and the hold begins, looking back from the release."""

from __future__ import annotations

import numpy as np

from quiethand.shots.cells import CellTable
from quiethand.shots.knock import G0
from quiethand.shots.middle import median
from quiethand.shots.sway import SWAY_S, sway

__all__ = ["draw_end"]

_AIM_S = 0.5  # before the release: what counts as holding for this archer and sensor
_SKIP_S = 0.03  # a trigger's click
_STRIDE_S = 0.025  # as fine as anyone asks
_SWAY_FLOOR_M_S2 = 0.012 * G0
_SWAY_TIMES = 2.5
_RATE_FLOOR_RAD_S = 0.10  # 6 deg/s over the mean of the aim: tremor and drift stay below, moving the bow does not
_RATE_TIMES = 4.0


def draw_end(table: CellTable, release_s: float) -> float | None:
    """Time at which shaking and rate last came down to those of the aim, or None if that lies before the table."""
    stop = int(np.searchsorted(table.time_s, release_s - _SKIP_S))
    cell_s = float(median(np.diff(table.time_s))) if len(table) > 1 else 0.0
    if not cell_s:
        return None
    width, stride = round(SWAY_S / cell_s), max(1, round(_STRIDE_S / cell_s))
    aim = round(_AIM_S / cell_s)
    if stop < width + stride:
        return None
    first = (stop - width) % stride  # so that the last window ends at the release
    rate = table.rate_rad_s[first:stop]
    shaking = sway(table.force_m_s2[first:stop], width, stride)
    summed = np.cumsum(np.vstack([np.zeros(3), rate]), axis=0)
    smooth = ((summed[width:] - summed[:-width]) / width)[::stride]
    off = smooth - rate[-aim:].mean(axis=0)
    away = np.sqrt(np.einsum("ij,ij->i", off, off))
    late = max(1, aim // stride)
    limit_sway = max(_SWAY_FLOOR_M_S2, _SWAY_TIMES * float(median(shaking[-late:])))
    limit_rate = max(_RATE_FLOOR_RAD_S, _RATE_TIMES * float(median(away[-late:])))
    over = (shaking > limit_sway) | (away > limit_rate)
    # a click is in every window that it touches: only what lasts longer is the draw
    once = round(width / stride) + 2
    lasting = np.convolve(over, np.ones(once), "full")[: len(over)] >= once - 0.5
    moving = np.flatnonzero(lasting)
    if not moving.size:
        return None
    # the last window that moved has its cause in its first stride or so: the next one is still
    at = first + (int(moving[-1]) + 1) * stride
    return float(table.time_s[min(at, stop - 1)])
