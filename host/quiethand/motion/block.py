"""A stretch of motion: what every later step works on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import Setup

__all__ = ["MotionBlock"]


@dataclass(frozen=True)
class MotionBlock:
    """Consecutive samples of one segment in SI units and the bow frame, scale, calibration and mount applied.

    Blocks are cut at places that depend on the samples alone, never on how the bytes arrived, so that live and replay
    give the same blocks. Lost samples are absent: `index` steps by more than one there.
    """

    segment: int  # 0, 1, 2 ... in the recording
    index: NDArray[np.int64]  # (n,) sample number since the segment's first sample, losses counted
    time_s: NDArray[np.float64]  # (n,) the sample's own tick on the recording's time line, strictly rising
    specific_force_m_s2: NDArray[np.float64]  # (n, 3)
    rate_rad_s: NDArray[np.float64]  # (n, 3) stated gyro bias taken off, if one is stated
    accel_clipped: NDArray[np.bool_]  # (n,)
    gyro_clipped: NDArray[np.bool_]  # (n,)
    period_s: float  # fitted
    accel_delay_s: float | None  # how much later than the motion a sample shows it; None: unknown
    gyro_delay_s: float | None
    accel_bandwidth_hz: float | None
    gyro_bandwidth_hz: float | None
    accel_scale_m_s2: float | None = None  # one count, None where not counted in steps
    gyro_scale_rad_s: float | None = None
    bias_stated: bool = False  # the set-up states a gyro bias and it was taken off
    mount_stated: bool = False  # the set-up states a mount; else the sensor's axes are taken as the bow's
    setup: Setup | None = None  # in force for these samples: the user's, or the recording's own SESSION

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def accel_time_s(self) -> NDArray[np.float64]:
        """When the motion that each acceleration shows took place, shape (n,)."""
        return self.time_s - (self.accel_delay_s or 0.0)

    @property
    def gyro_time_s(self) -> NDArray[np.float64]:
        """When the motion that each rate shows took place, shape (n,)."""
        return self.time_s - (self.gyro_delay_s or 0.0)
