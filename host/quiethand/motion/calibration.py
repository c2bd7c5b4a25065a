"""The one place where scale, offset, matrix, bias and mount are applied and clipping is told."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import SensorSetup
from quiethand.motion.rotation import matrix_from_quaternion

__all__ = ["IN_SI", "Calibration", "Scales", "calibration"]

Array = NDArray[np.float64]

# A full scale is stated rounded ("16 g" of 32768 counts, the last of which is 32767): this near to it is at it.
AT_FULL_SCALE: Final = 0.999


@dataclass(frozen=True)
class Scales:
    """What a stream states of its numbers. None: unknown. A scale of None: the numbers are in SI units already."""

    accel_m_s2: float | None = None  # one count
    gyro_rad_s: float | None = None
    accel_unit_m_s2: float = 1.0  # of one number, where they are not counts
    gyro_unit_rad_s: float = 1.0
    accel_clip: int | None = None  # counts
    gyro_clip: int | None = None
    clip_told: bool = False  # each sample says by itself whether it clipped
    accel_delay_s: float | None = None
    gyro_delay_s: float | None = None
    accel_bandwidth_hz: float | None = None
    gyro_bandwidth_hz: float | None = None


@dataclass(frozen=True)
class Calibration:
    """Numbers of the sensor (n, 6) to specific force and rate in the bow frame: f = M_a x + b_a, w = M_g y + b_g."""

    scales: Scales
    accel_matrix: Array
    accel_constant: Array
    gyro_matrix: Array
    gyro_constant: Array
    accel_clip: float | None  # in the numbers' own unit, any axis
    gyro_clip: float | None
    accel_delay_s: float | None
    gyro_delay_s: float | None
    accel_bandwidth_hz: float | None
    gyro_bandwidth_hz: float | None
    bias_stated: bool
    mount_stated: bool
    notes: tuple[str, ...]

    def apply(self, numbers: NDArray[np.int16] | Array) -> tuple[Array, Array]:
        """Specific force (n, 3) in m/s2 and rate (n, 3) in rad/s of numbers (n, 6): ax ay az gx gy gz.

        Sample by sample, axis by axis, so that a sample gives the same bits whatever it stands beside; each axis lies
        in memory by itself, which sums and copies over an axis need.
        """
        whole = np.empty((6, len(numbers)))
        for first, matrix, constant in (
            (0, self.accel_matrix, self.accel_constant),
            (3, self.gyro_matrix, self.gyro_constant),
        ):
            given = np.array(numbers[:, first : first + 3].T, dtype=np.float64, order="C")
            for out, shares, level in zip(whole[first:], matrix.tolist(), constant.tolist(), strict=False):
                used = [(axis, share) for axis, share in zip(given, shares, strict=True) if share] or [(given[0], 0.0)]
                np.multiply(*used[0], out=out)
                for axis, share in used[1:]:
                    out += axis * share
                if level:
                    out += level
        return whole[:3].T, whole[3:].T

    def clipped(self, numbers: NDArray[np.int16] | Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which samples are at or over full scale on any axis, accelerometer and gyro, (n,) each."""
        accel, gyro = np.zeros(len(numbers), dtype=bool), np.zeros(len(numbers), dtype=bool)
        for axis, at in zip(*self._at_limit(numbers), strict=True):
            (accel if axis < 3 else gyro)[at] = True
        return accel, gyro

    def clipped_samples(self, numbers: NDArray[np.int16] | Array) -> tuple[int, int, int]:
        """How many samples are clipped: of the accelerometer, of the gyro, of either."""
        axis, at = self._at_limit(numbers)
        if not len(at):
            return 0, 0, 0
        of_gyro = axis >= 3
        return len(np.unique(at[~of_gyro])), len(np.unique(at[of_gyro])), len(np.unique(at))

    def _at_limit(self, numbers: NDArray[np.int16] | Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Axis and row of every number at its limit or over it."""
        limits = [math.inf if clip is None else clip for clip in (self.accel_clip, self.gyro_clip)]
        least = min(limits)
        none = np.empty(0, dtype=np.int64)
        # Nearly every stretch is far from any limit, and one look at its extremes shows that.
        if not len(numbers) or (float(numbers.max()) < least and float(numbers.min()) > -least):
            return none, none
        flat: NDArray[Any] = np.ravel(numbers)
        if flat.dtype == np.int16:  # compared as they are; no count is over 32767
            least = math.ceil(least)
            over = flat >= np.int16(least) if least <= 32767 else np.zeros(len(flat), dtype=bool)
            found = np.flatnonzero(over | (flat <= np.int16(-least)))
        else:
            found = np.flatnonzero(np.abs(flat) >= least)
        row, axis = np.divmod(found, numbers.shape[1])
        held = np.abs(flat[found].astype(np.float64)) >= np.where(axis < 3, *limits)
        return axis[held], row[held]


IN_SI: Final = Calibration(
    Scales(), np.eye(3), np.zeros(3), np.eye(3), np.zeros(3), None, None, None, None, None, None, False, False, ()
)  # of numbers that are motion already


def calibration(scales: Scales, sensor: SensorSetup) -> Calibration:
    """What a stream states and what the set-up states, as one; the set-up wins, and the notes say where.

    f = mount (matrix (scale x - offset)), w = mount (scale y - bias), as the set-up file defines them.
    """
    notes = []
    accel_scale = scales.accel_m_s2 if scales.accel_m_s2 is not None else scales.accel_unit_m_s2
    gyro_scale = scales.gyro_rad_s if scales.gyro_rad_s is not None else scales.gyro_unit_rad_s
    mount = np.eye(3) if sensor.mount is None else matrix_from_quaternion(sensor.mount)
    # Rounding in a quaternion typed to six digits would let axes mix by parts in a million.
    mount[np.abs(mount) < 2e-6] = 0.0
    matrix = np.eye(3) if sensor.accel_matrix is None else np.array(sensor.accel_matrix, dtype=np.float64)
    offset, bias = np.array(sensor.accel_offset_m_s2 or (0, 0, 0)), np.array(sensor.gyro_bias_rad_s or (0, 0, 0))

    def chosen(name: str, stated: float | None, streamed: float | None) -> float | None:
        if stated is None:
            if streamed is None:
                notes.append(f"{name} delay unknown: nothing is taken off")
            return streamed
        if streamed is not None and abs(streamed - stated) > 5e-7:
            notes.append(f"{name} delay {stated * 1e3:g} ms from the set-up, not the stream's {streamed * 1e3:g} ms")
        elif streamed is None:
            notes.append(f"{name} delay {stated * 1e3:g} ms from the set-up")
        return stated

    def limit(name: str, stated: float | None, scale: float, clip: int | None, unit: str) -> float | None:
        if stated is None:
            return float(clip) if clip else None
        at = AT_FULL_SCALE * stated / scale
        if clip and abs(stated / (clip * scale) - 1.0) > 0.02:
            notes.append(f"{name} range {stated:g} {unit} from the set-up, not the stream's {clip * scale:g} {unit}")
        return at

    accel_clip = limit("accelerometer", sensor.accel_range_m_s2, accel_scale, scales.accel_clip, "m/s2")
    gyro_clip = limit("gyro", sensor.gyro_range_rad_s, gyro_scale, scales.gyro_clip, "rad/s")
    if accel_clip is None and gyro_clip is None and not scales.clip_told:
        notes.append("no range is stated: clipped samples cannot be told")
    return Calibration(
        scales=scales,
        accel_matrix=mount @ matrix * accel_scale,
        accel_constant=-(mount @ matrix @ offset),
        gyro_matrix=mount * gyro_scale,
        gyro_constant=-(mount @ bias),
        accel_clip=accel_clip,
        gyro_clip=gyro_clip,
        accel_delay_s=chosen("accelerometer", sensor.accel_delay_s, scales.accel_delay_s),
        gyro_delay_s=chosen("gyro", sensor.gyro_delay_s, scales.gyro_delay_s),
        accel_bandwidth_hz=sensor.accel_bandwidth_hz or scales.accel_bandwidth_hz,
        gyro_bandwidth_hz=sensor.gyro_bandwidth_hz or scales.gyro_bandwidth_hz,
        bias_stated=sensor.gyro_bias_rad_s is not None,
        mount_stated=sensor.mount is not None,
        notes=tuple(notes),
    )
