"""A recording's samples as columns: the bow frame, calibrated, named as a CSV that `analyse` reads names them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

    from quiethand.motion.block import MotionBlock

# Keys of the set-up's [sensor] that are in exported samples already.
_APPLIED: Final = (
    "accel_offset", "accel_matrix", "gyro_bias", "mount", "accel_scale", "gyro_scale", "accel_range", "gyro_range",
)  # fmt: skip

__all__ = ["SAMPLE_COLUMNS", "batches", "frame_of", "setup_for_samples", "within"]

_FORCE: Final = ("ax_m_s2", "ay_m_s2", "az_m_s2")
_RATE: Final = ("gx_deg_s", "gy_deg_s", "gz_deg_s")
SAMPLE_COLUMNS: Final = ("t_s", *_FORCE, *_RATE, "segment", "sample", "accel_clipped", "gyro_clipped")


def frame_of(blocks: Iterable[MotionBlock]) -> pd.DataFrame:
    """One row a sample. Times are the samples' own: how late the sensor's filters show the motion is not taken off."""
    import pandas as pd

    return pd.DataFrame(_columns(list(blocks)), columns=list(SAMPLE_COLUMNS))


def batches(blocks: Iterable[MotionBlock], least: int) -> Iterator[tuple[list[MotionBlock], dict[str, NDArray[Any]]]]:
    """Columns of at least so many samples at a time (the last of fewer), and the blocks that they are of."""
    held: list[MotionBlock] = []
    for block in blocks:
        held.append(block)
        if sum(map(len, held)) >= least:
            yield held, _columns(held)
            held = []
    if held:
        yield held, _columns(held)


def _columns(blocks: list[MotionBlock]) -> dict[str, NDArray[Any]]:
    force = _joined([block.specific_force_m_s2 for block in blocks], (0, 3))
    rate = np.rad2deg(_joined([block.rate_rad_s for block in blocks], (0, 3)))
    return {
        "t_s": _joined([block.time_s for block in blocks], (0,)),
        **{name: force[:, axis] for axis, name in enumerate(_FORCE)},
        **{name: rate[:, axis] for axis, name in enumerate(_RATE)},
        "segment": np.repeat([block.segment for block in blocks], [len(block) for block in blocks]).astype(np.int64),
        "sample": _joined([block.index for block in blocks], (0,)).astype(np.int64),
        "accel_clipped": _joined([block.accel_clipped for block in blocks], (0,)).astype(np.bool_),
        "gyro_clipped": _joined([block.gyro_clipped for block in blocks], (0,)).astype(np.bool_),
    }


def _joined(arrays: list[NDArray[Any]], empty: tuple[int, ...]) -> NDArray[Any]:
    return np.concatenate(arrays) if arrays else np.zeros(empty)


def within(blocks: Iterable[MotionBlock], start_s: float | None, end_s: float | None) -> Iterator[MotionBlock]:
    """The blocks' samples from `start_s` up to and with `end_s`; stops reading once they are past."""
    from dataclasses import replace

    for block in blocks:
        if end_s is not None and len(block) and block.time_s[0] > end_s:
            return
        chosen = np.ones(len(block), dtype=bool)
        if start_s is not None:
            chosen &= block.time_s >= start_s
        if end_s is not None:
            chosen &= block.time_s <= end_s
        if chosen.all():
            yield block
        elif chosen.any():
            yield replace(
                block,
                index=block.index[chosen],
                time_s=block.time_s[chosen],
                specific_force_m_s2=block.specific_force_m_s2[chosen],
                rate_rad_s=block.rate_rad_s[chosen],
                accel_clipped=block.accel_clipped[chosen],
                gyro_clipped=block.gyro_clipped[chosen],
            )


def setup_for_samples(block: MotionBlock) -> dict[str, Any]:
    """The set-up's document with which exported samples measure as their recording does.

    Calibration and mount are in the samples already, so the sensor's own are taken out; what the stream stated of
    itself and a CSV can't carry (delays, bandwidths) is put in. A bias or mount that was stated stays stated, as none.
    Ranges go too: they are the raw sensor's, and each exported sample says by itself whether it clipped.
    """
    document: dict[str, Any] = dict(block.setup.document) if block.setup else {}
    stated = document.get("sensor")
    sensor = dict(stated) if isinstance(stated, Mapping) else {}
    for applied in _APPLIED:
        sensor.pop(applied, None)
    if block.bias_stated:
        sensor["gyro_bias"] = ["0 deg/s"] * 3
    if block.mount_stated:
        sensor["mount"] = [0, 0, 0, 1]
    for name in ("accel", "gyro"):
        delay_s, bandwidth_hz = getattr(block, f"{name}_delay_s"), getattr(block, f"{name}_bandwidth_hz")
        if delay_s is not None:
            sensor[f"{name}_delay"] = f"{delay_s * 1e6:.6g} us"
        if bandwidth_hz:
            sensor[f"{name}_bandwidth"] = f"{bandwidth_hz:.9g} Hz"
    return {**document, **({"sensor": sensor} if sensor else {})}
