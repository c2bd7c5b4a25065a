"""What the calibration verbs read: a recording in the sensor's own axes, whatever a set-up already states of it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from quiethand.bow.model import Setup
from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.calibrate.cells import Cells
    from quiethand.link.files import MotionFile

__all__ = ["cells_in_sensor_axes", "naming", "open_in_sensor_axes", "stated"]


def stated(path: str, setup: Setup | None) -> Setup:
    """The user's set-up, or what the recording states of itself, or an empty one."""
    if setup is not None:
        return setup
    if path == "-":
        return Setup()
    from quiethand.link.files import open_motion

    return open_motion(path).setup or Setup()


def open_in_sensor_axes(path: str, setup: Setup | None, *, accel_calibrated: bool = False) -> MotionFile:
    """Open a recording so that its blocks are in sensor axes: no mount, no bias, no offset or matrix taken off.

    Args:
        path: any kind of recording.
        setup: its scales, ranges and delays are kept.
        accel_calibrated: keep the accelerometer's offset and matrix too, which are stated in sensor axes.
    """
    from quiethand.link.files import open_motion

    base = stated(path, setup)
    bare = replace(base.sensor, mount=None, gyro_bias_rad_s=None)
    if not accel_calibrated:
        bare = replace(bare, accel_offset_m_s2=None, accel_matrix=None)
    return open_motion(path, replace(base, sensor=bare))


def cells_in_sensor_axes(path: str, setup: Setup | None, *, accel_calibrated: bool = False) -> Cells:
    """The same, thinned to cells."""
    from quiethand.calibrate.cells import cells_of

    with naming(path):
        return cells_of(open_in_sensor_axes(path, setup, accel_calibrated=accel_calibrated))


@contextlib.contextmanager
def naming(path: str) -> Iterator[None]:
    """Refusals of the numerics, which know no files, with the file's name."""
    try:
        yield
    except InputError as wrong:
        if wrong.where:
            raise
        raise InputError(wrong.what, where=path, do=wrong.do) from wrong
