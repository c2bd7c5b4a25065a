"""A stretch of motion: what every later step works on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import Setup
from quiethand.motion.calibration import IN_SI, Calibration

__all__ = ["SAMPLED", "CountedBlock", "Fitted", "MotionBlock"]

SAMPLED: Final = ("index", "time_s", "specific_force_m_s2", "rate_rad_s", "accel_clipped", "gyro_clipped")


@dataclass(frozen=True)
class Fitted:
    """The period that the time fit gave as it went along, k times."""

    last: NDArray[np.int64]  # (k,) number of the last sample each is of, rising
    period_s: NDArray[np.float64]  # (k,)


@dataclass(frozen=True)
class MotionBlock:
    """Consecutive samples of one segment in SI units and the bow frame, scale, calibration and mount applied.

    Where a stream is cut into blocks goes by how its bytes arrive; what each sample is does not: live and replay,
    joined, are the same to the last bit, and whoever decides by sample numbers decides the same. Lost samples are
    absent: `index` steps by more than one there.
    """

    segment: int  # 0, 1, 2 ... in the recording
    index: NDArray[np.int64]  # (n,) sample number since the segment's first sample, losses counted
    time_s: NDArray[np.float64]  # (n,) the sample's own tick on the recording's time line, strictly rising
    specific_force_m_s2: NDArray[np.float64]  # (n, 3)
    rate_rad_s: NDArray[np.float64]  # (n, 3) stated gyro bias taken off, if one is stated
    accel_clipped: NDArray[np.bool_]  # (n,)
    gyro_clipped: NDArray[np.bool_]  # (n,)
    period_s: float  # fitted, of the last sample
    accel_delay_s: float | None  # how much later than the motion a sample shows it; None: unknown
    gyro_delay_s: float | None
    accel_bandwidth_hz: float | None
    gyro_bandwidth_hz: float | None
    accel_scale_m_s2: float | None = None  # one count, None where not counted in steps
    gyro_scale_rad_s: float | None = None
    bias_stated: bool = False  # the set-up states a gyro bias and it was taken off
    mount_stated: bool = False  # the set-up states a mount; else the sensor's axes are taken as the bow's
    setup: Setup | None = None  # in force for these samples: the user's, or the recording's own SESSION
    fitted: Fitted | None = None  # the period all along, where it changes within the block

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

    @property
    def numbers(self) -> NDArray[Any]:
        """Force and rate as one array (n, 6) in the unit that `calibration` makes motion of."""
        return np.concatenate([self.specific_force_m_s2, self.rate_rad_s], axis=1)

    @property
    def calibration(self) -> Calibration:
        """Makes motion of `numbers`."""
        return IN_SI

    def period_at(self, index: int) -> float:
        """The fitted period of a sample, wherever blocks are cut."""
        if self.fitted is None:
            return self.period_s
        at = min(int(np.searchsorted(self.fitted.last, index)), len(self.fitted.last) - 1)
        return float(self.fitted.period_s[at])

    def part(self, rows: slice) -> MotionBlock:
        """Some of its samples; arrays are views."""
        return replace(self, **{name: getattr(self, name)[rows] for name in SAMPLED})


class CountedBlock(MotionBlock):
    """A block that still holds the numbers as the sensor gave them, and makes motion of them when it is asked for.

    Nobody shoots during most of a recording, and what only has to be summed up need not be made motion of.
    """

    _numbers: NDArray[Any]
    _calibration: Calibration

    @classmethod
    def of(cls, numbers: NDArray[Any], calibration: Calibration, stated: Mapping[str, object]) -> CountedBlock:
        """A block of numbers (n, 6); `stated` holds the other fields of a MotionBlock."""
        block = object.__new__(cls)
        block.__dict__.update(stated)  # the dataclass's own way, without the four fields made below
        block.__dict__.update(_numbers=numbers, _calibration=calibration)
        return block

    @property
    def numbers(self) -> NDArray[Any]:
        held: NDArray[Any] | None = self.__dict__.get("_numbers")  # none in a copy with other motion
        return super().numbers if held is None else held

    @property
    def calibration(self) -> Calibration:
        held: Calibration = self.__dict__.get("_calibration", IN_SI)
        return held

    def part(self, rows: slice) -> MotionBlock:
        if "_numbers" not in self.__dict__:
            return super().part(rows)
        stated = {k: v for k, v in self.__dict__.items() if k in _STATED}
        stated.update(index=self.index[rows], time_s=self.time_s[rows])
        return CountedBlock.of(self._numbers[rows], self._calibration, stated)

    @cached_property
    def _motion(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        return self._calibration.apply(self._numbers)

    @cached_property
    def _clipped(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        return self._calibration.clipped(self._numbers)

    @cached_property
    def specific_force_m_s2(self) -> NDArray[np.float64]:
        return self._motion[0]

    @cached_property
    def rate_rad_s(self) -> NDArray[np.float64]:
        return self._motion[1]

    @cached_property
    def accel_clipped(self) -> NDArray[np.bool_]:
        return self._clipped[0]

    @cached_property
    def gyro_clipped(self) -> NDArray[np.bool_]:
        return self._clipped[1]


_STATED: Final = frozenset(f.name for f in fields(MotionBlock)) - set(SAMPLED)
