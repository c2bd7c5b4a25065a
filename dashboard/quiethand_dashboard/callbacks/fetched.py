"""What a page needs beside the stored shot itself: target, limit and usual band, from the shot's own set-up."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from quiethand.axes import AXIS_NAMES
from quiethand.bow.model import Setup
from quiethand.errors import InputError
from quiethand.judge.usual import is_unusual
from quiethand.judge.usual import usual_band as point_by_point
from quiethand.judge.usual_ahead import usual_ahead
from quiethand.store.measures import MEASURES
from quiethand.words import axis_words

from quiethand_dashboard.figures.traces import Band

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.records import Earlier, ShotRecord
    from quiethand.store.store import Store

__all__ = ["day_start", "setup_of", "unusual", "usual_band"]

MOST_EARLIER: Final = 50
# The part of a trace that a panel shows unzoomed, and some more; a point each half millisecond draws a smooth edge.
GRID_MS: Final = np.arange(-25.0, 60.0, 0.5)
# What is judged against the usual: measure, its words, unit shown, factor from the store's unit.
JUDGED: Final = (
    ("time_on_string_s", "time on the string", "ms", 1e3),
    *((f"rotation_{axis}_deg", axis, "deg", 1.0) for axis in ("yaw", "pitch", "cant")),
)
# No band for the acceleration: its shock at brace is as wide as the panel, and no judgement rests on it.
QUANTITIES: Final = (("gyro_ms", "rotation_deg"), ("gyro_ms", "rate_deg_s"), ("gyro_ms", "torque_nm"))


def setup_of(store: Store, setup_id: int) -> Setup | None:
    """The set-up a shot was measured with; None where it is gone or was written by another version."""
    document = store.setup_document(setup_id)
    return None if document is None else _setup(json.dumps(document, sort_keys=True))


@lru_cache(maxsize=64)
def _setup(document: str) -> Setup | None:
    from quiethand.bow.setup_file import setup_from_document

    try:
        return setup_from_document(json.loads(document), "the stored set-up")
    except InputError:
        return None


def day_start(unix_s: float, zone: tzinfo) -> float:
    """The midnight before a moment, by the zone's clock."""
    return datetime.fromtimestamp(unix_s, zone).replace(hour=0, minute=0, second=0, microsecond=0).timestamp()


def usual_band(earlier: Sequence[Earlier]) -> Band | None:
    """What is usual for an archer, bow and arrow from the shots before; None where they are too few."""
    traces = [one.trace for one in earlier if one.trace is not None]
    low, high, shots = {}, {}, 0
    for times, quantity in QUANTITIES:
        known = [(getattr(t, times), getattr(t, quantity)) for t in traces if getattr(t, quantity) is not None]
        band = point_by_point(known, GRID_MS)
        if band is not None:
            low[quantity], high[quantity], shots = band.low, band.high, max(shots, band.shots)
    return Band(GRID_MS, low, high, shots) if low else None


def unusual(shot: ShotRecord, earlier: Sequence[Earlier]) -> list[dict[str, Any]]:
    """What of this shot lies outside of this archer's usual, as flags in the contract's form.

    Args:
        earlier: the latest first, as the store gives them.
    """
    found = []
    in_order = earlier[::-1]
    for measure, words, unit, factor in JUDGED:
        value, sigma = shot.measures[measure], shot.measures[MEASURES[measure].sigma or measure]
        before = usual_ahead([one.measures[measure] for one in in_order], resolution=sigma or 0.0)
        if value is None or before is None or not is_unusual(value, before):
            continue
        low, high, shown = (factor * v for v in (before.low, before.high, value))
        side = "more" if shown > high else "less"
        axis = words if words in AXIS_NAMES else None
        said = axis_words(axis, shown) if axis else f"{shown:.2f} {unit}"
        usually = f"{axis_words(axis, low)} to {axis_words(axis, high)}" if axis else f"{low:.2f} to {high:.2f} {unit}"
        text = f"{words} {said}; usually {usually}, from {before.shots} earlier shots"
        found.append(
            {
                "measure": measure,
                "value": shown,
                "limit": high if side == "more" else low,
                "unit": unit,
                "sigma": None if sigma is None else factor * sigma,
                "verdict": "unusual",
                "text": text,
            }
        )
    return found
