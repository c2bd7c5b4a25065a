"""What the finder hands to the measuring: the motion around one shot, and roughly where in it the shot is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from quiethand.shots.still import StillState

__all__ = ["Candidate", "MotionWindow"]


@dataclass(frozen=True)
class MotionWindow:
    """The fields of a `MotionBlock`, joined over several blocks of one segment: one array each.

    Lost samples are absent here too: `index` steps by more than one there. `period_s` is that of the newest block;
    delays, bandwidths and scales are those of the block that holds the shock.
    """

    segment: int
    index: NDArray[np.int64]  # (n,) sample number since the segment's first sample, losses counted
    time_s: NDArray[np.float64]  # (n,) the sample's own tick on the recording's time line, strictly rising
    specific_force_m_s2: NDArray[np.float64]  # (n, 3) bow frame
    rate_rad_s: NDArray[np.float64]  # (n, 3) bow frame, stated gyro bias taken off, if one is stated
    accel_clipped: NDArray[np.bool_]  # (n,)
    gyro_clipped: NDArray[np.bool_]  # (n,)
    period_s: float
    accel_delay_s: float | None
    gyro_delay_s: float | None
    accel_bandwidth_hz: float | None
    gyro_bandwidth_hz: float | None
    accel_scale_m_s2: float | None = None
    gyro_scale_rad_s: float | None = None
    bias_stated: bool = False
    mount_stated: bool = False

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


@dataclass(frozen=True)
class Candidate:
    """One shot as found: the motion around it and coarse instants, good to some milliseconds.

    The instants are on the recording's time line with the accelerometer's stated delay taken off. `departure_s` is
    the onset of the shock at brace; `release_s` where the push begins, or the launch model's time on the string
    before the shock where the push itself cannot be seen (a note says so). `draw_end_s` is where the hold begins,
    None where the draw lies before the window or no quiet hold can be told.
    """

    window: MotionWindow  # from up to 8 s before the release to 0.4 s after the departure, or what there is
    release_s: float
    departure_s: float
    draw_end_s: float | None
    notes: tuple[str, ...] = ()
    still: StillState | None = None  # what still moments had told by the release
