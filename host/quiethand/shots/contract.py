"""Shots as the JSON contract has them: plain dicts, units in the names, null where not known."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from importlib import resources
from typing import Any

from quiethand.axes import Axes
from quiethand.shots.model import BudgetRow, Flag, Rejected, Shot

__all__ = ["SCHEMA_VERSION", "budget_row", "json_schema", "rejected_object", "shot_object"]

SCHEMA_VERSION = 1
# A tenth of a microsecond and of a microdegree: finer than any sensor, coarse enough to read.
_DECIMALS = 7


def json_schema() -> dict[str, Any]:
    """The JSON Schema of what `quiethand analyse --format json` prints for one input."""
    text = resources.files("quiethand.shots").joinpath("analysis.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def number(value: float | None) -> float | None:
    """Rounded for print; what is not finite is not known."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DECIMALS) + 0.0  # + 0.0 turns -0.0 into 0.0


def axes_object(axes: Axes) -> dict[str, float | None]:
    return {"cant": number(axes.cant), "pitch": number(axes.pitch), "yaw": number(axes.yaw)}


def budget_row(row: BudgetRow) -> dict[str, Any]:
    return {"source": row.source, "kind": row.kind, "deg": axes_object(row.deg)}


def _flag(flag: Flag) -> dict[str, Any]:
    return {
        "measure": flag.measure,
        "value": number(flag.value),
        "limit": number(flag.limit),
        "unit": flag.unit,
        "sigma": number(flag.sigma),
        "verdict": flag.verdict,
        "text": flag.text,
    }


def _at_departure(shot: Shot) -> dict[str, Any]:
    at = shot.at_departure
    parts = at.parts
    return {
        "rotation_deg": axes_object(at.rotation_deg),
        "rotation_sigma_deg": axes_object(at.rotation_sigma_deg),
        "rate_deg_s": axes_object(at.rate_deg_s),
        "rate_sigma_deg_s": axes_object(at.rate_sigma_deg_s),
        "parts_deg": {
            "carried_in": axes_object(parts.carried_in_deg),
            "struck": axes_object(parts.struck_deg),
            "pressed": axes_object(parts.pressed_deg),
        },
        "parts_sigma_deg": {
            "carried_in": axes_object(parts.carried_in_sigma_deg),
            "struck": axes_object(parts.struck_sigma_deg),
            "pressed": axes_object(parts.pressed_sigma_deg),
        },
        "pointing_shift_mm": {"right": number(at.pointing.right_mm), "up": number(at.pointing.up_mm)},
        "pointing_shift_sigma_mm": {"right": number(at.pointing.right_sigma_mm), "up": number(at.pointing.up_sigma_mm)},
    }


def _axes_fields(part: object) -> dict[str, Any]:
    """A flat dataclass of axes and numbers as an object, in the order of its fields."""
    fields: Mapping[str, Any] = {name: getattr(part, name) for name in part.__dataclass_fields__}  # type: ignore[attr-defined]
    return {k: axes_object(v) if isinstance(v, Axes) else number(v) for k, v in fields.items()}


def shot_object(shot: Shot) -> dict[str, Any]:
    """One entry of `shots`."""
    return {
        "number": shot.number,
        "release_s": number(shot.release_s),
        "release_sigma_s": number(shot.release_sigma_s),
        "departure_s": number(shot.departure_s),
        "departure_sigma_s": number(shot.departure_sigma_s),
        "departure_from": shot.departure_from,
        "time_on_string_s": number(shot.time_on_string_s),
        "time_on_string_sigma_s": number(shot.time_on_string_sigma_s),
        "rest_clear_s": number(shot.rest_clear_s),
        "push_misfit": number(shot.push_misfit),
        "at_departure": _at_departure(shot),
        "budget": [budget_row(row) for row in shot.budget],
        "after_release": [{"ms": at.ms, "rotation_deg": axes_object(at.rotation_deg)} for at in shot.after_release],
        "window": _axes_fields(shot.window),
        "hold": _axes_fields(shot.hold),
        "follow_through": _axes_fields(shot.follow_through),
        "events": None if shot.events is None else _axes_fields(shot.events),
        "flags": [_flag(flag) for flag in shot.flags],
        "notes": list(shot.notes),
    }


def rejected_object(rejected: Rejected) -> dict[str, Any]:
    """One entry of `rejected`."""
    return {"time_s": number(rejected.time_s), "reason": rejected.reason, "text": rejected.text}
