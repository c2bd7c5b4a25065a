"""Where the draw ends and the hold begins, looking back from the release."""

from __future__ import annotations

import numpy as np

from quiethand.shots.cells import CellTable
from quiethand.shots.knock import G0

__all__ = ["draw_end"]

_AIM_S = 0.5  # before the release: what counts as holding for this archer and sensor
_SKIP_S = 0.03  # a trigger's click
_MEDIAN_S = 0.1
_STRIDES = 4  # windows in a median's length: 25 ms is as fine as anyone asks
_JOLT_FLOOR_M_S2 = 0.06 * G0
_JOLT_TIMES = 2.5
_RATE_FLOOR_RAD_S = 0.14  # 8 deg/s over the mean of the aim: tremor and drift stay below, moving the bow does not
_RATE_TIMES = 4.0


def draw_end(table: CellTable, release_s: float) -> float | None:
    """Time at which roughness and rate last came down to those of the aim, or None if that lies before the table.

    Roughness is the peak-to-peak specific force within 5 ms, its median over a tenth of a second, so that a click
    does not count.
    """
    stop = int(np.searchsorted(table.time_s, release_s - _SKIP_S))
    cell_s = float(np.median(np.diff(table.time_s))) if len(table) > 1 else 0.0
    aim = round(_AIM_S / cell_s) if cell_s else 0
    if not aim or stop < aim // 2:
        return None
    width = max(1, round(_MEDIAN_S / cell_s))
    jolt, rate = table.jolt_m_s2[:stop], table.rate_rad_s[:stop]
    if len(jolt) <= width:
        return None
    stride = max(1, width // _STRIDES)
    rough = np.median(np.lib.stride_tricks.sliding_window_view(jolt, width)[::stride], axis=1)
    summed = np.cumsum(np.vstack([np.zeros(3), rate]), axis=0)
    smooth = ((summed[width:] - summed[:-width]) / width)[::stride]
    off = smooth - rate[-aim:].mean(axis=0)
    away = np.sqrt(np.einsum("ij,ij->i", off, off))
    limit_jolt = max(_JOLT_FLOOR_M_S2, _JOLT_TIMES * float(np.median(jolt[-aim:])))
    limit_rate = max(_RATE_FLOOR_RAD_S, _RATE_TIMES * float(np.median(away[-max(1, aim // stride) :])))
    moving = np.flatnonzero((rough > limit_jolt) | (away > limit_rate))
    if not moving.size:
        return None
    at = int(moving[-1]) * stride + width  # the first cell after the last window that moved
    return float(table.time_s[min(at, stop - 1)])
