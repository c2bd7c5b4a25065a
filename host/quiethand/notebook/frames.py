"""Rows to pandas frames: kinds of columns that hold for a frame without rows, too."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

from quiethand.notebook.shot_rows import SHOT_COLUMNS
from quiethand.shots.measure_columns import MEASURES

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["shots_frame"]

_LENGTHS: Final = ("distance_m", "impact_right_mm", "impact_up_mm")


def shots_frame(rows: Iterable[dict[str, Any]], columns: Sequence[str] = SHOT_COLUMNS) -> pd.DataFrame:
    """One row a shot. Measures are floats (NaN: not known), `time_utc` a time in UTC (NaT: not known)."""
    import pandas as pd

    frame = pd.DataFrame(list(rows), columns=list(columns))
    kinds: dict[str, Any] = {name: "float64" for name in columns if name in MEASURES or name in _LENGTHS}
    kinds |= {"number": "int64", "shot_id": "Int64", "excluded": "bool", "stale": "bool"}
    frame = frame.astype({name: kind for name, kind in kinds.items() if name in frame})
    frame["time_utc"] = pd.to_datetime(frame["time_utc"], utc=True)
    return frame
