"""Which way a sensor or a bow lay or hung, held against what the set-up states of the mount."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.commands.calibrate_input import stated
from quiethand.errors import InputError
from quiethand.motion.rotation import matrix_from_quaternion

if TYPE_CHECKING:
    from quiethand.bow.model import Setup

__all__ = ["check_axis", "off_level_deg"]

AXES_HUNG: Final = {"cant": "its nose straight up or down", "pitch": "lying on its side", "yaw": "level and upright"}
_FAR_DEG: Final = 15.0


def off_level_deg(up: NDArray[np.float64], setup: Setup) -> float | None:
    """Angle between up and the bow's z, by the stated mount; None where none is stated."""
    if setup.sensor.mount is None:
        return None
    along_z = float((matrix_from_quaternion(setup.sensor.mount) @ up)[2])
    return float(np.rad2deg(np.arccos(np.clip(along_z, -1.0, 1.0))))


def check_axis(axis: str, up: NDArray[np.float64], setup: Setup | None, recording: str) -> bool:
    """Whether the named axis hung upright, by the stated mount; False where none is stated.

    Raises:
        InputError: another axis hung upright.
    """
    sensor = stated(recording, setup).sensor
    if sensor.mount is None:
        return False
    bow_up = np.abs(matrix_from_quaternion(sensor.mount) @ up)
    names = list(AXES_HUNG)
    if np.rad2deg(np.arccos(min(float(bow_up[names.index(axis)]), 1.0))) > _FAR_DEG:
        nearest = names[int(np.argmax(bow_up))]
        raise InputError(
            f"the bow hung for {nearest}, not for {axis}",
            do=f"for {axis} hang it {AXES_HUNG[axis]}, or say --axis {nearest} if that was meant",
        )
    return True
