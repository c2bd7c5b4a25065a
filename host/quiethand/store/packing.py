"""A shot's trace to and from rows of compressed float32 arrays, bit for bit."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import RowMapping

from quiethand.shots.model import Trace

__all__ = ["pack_trace", "unpack_trace"]

# array, unit, the series of times it goes with
_ARRAYS: Final = (
    ("accel_ms", "ms", "accel_ms"),
    ("specific_force_m_s2", "m/s2", "accel_ms"),
    ("gyro_ms", "ms", "gyro_ms"),
    ("rate_deg_s", "deg/s", "gyro_ms"),
    ("rotation_deg", "deg", "gyro_ms"),
    ("torque_nm", "N m", "gyro_ms"),
)


def _rate_hz(time_ms: NDArray[np.float32]) -> float | None:
    if len(time_ms) < 2:
        return None
    step_ms = float(np.median(np.diff(time_ms.astype(np.float64))))
    return 1e3 / step_ms if step_ms > 0 else None


def pack_trace(trace: Trace) -> Iterator[dict[str, Any]]:
    """One row (columns of the table `traces` but `shot_id`) for each array that there is."""
    for name, unit, times in _ARRAYS:
        values = getattr(trace, name)
        if values is None:
            continue
        array = np.ascontiguousarray(values, dtype="<f4")
        yield {
            "name": name,
            "unit": unit,
            "rate_hz": _rate_hz(getattr(trace, times)),
            "rows": len(array),
            "columns": array.shape[1] if array.ndim == 2 else 1,
            "data": zlib.compress(array.tobytes(), 6),
        }


def _array(row: RowMapping) -> NDArray[np.float32]:
    flat = np.frombuffer(zlib.decompress(row["data"]), dtype="<f4").astype(np.float32)
    return flat if row["columns"] == 1 else flat.reshape(row["rows"], row["columns"])


def unpack_trace(rows: Mapping[str, RowMapping]) -> Trace | None:
    """The trace from its rows by name; None where none were stored."""
    if "gyro_ms" not in rows:
        return None
    torque = rows.get("torque_nm")
    return Trace(
        accel_ms=_array(rows["accel_ms"]),
        specific_force_m_s2=_array(rows["specific_force_m_s2"]),
        gyro_ms=_array(rows["gyro_ms"]),
        rate_deg_s=_array(rows["rate_deg_s"]),
        rotation_deg=_array(rows["rotation_deg"]),
        torque_nm=None if torque is None else _array(torque),
    )
