"""Durations as people type them: 30min, 7s, 1.5h."""

from __future__ import annotations

import re
from typing import Any, Final

import click

__all__ = ["DURATION"]

_SECONDS: Final = {"s": 1.0, "min": 60.0, "h": 3600.0}
_FORM: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(s|min|h)")


class _Duration(click.ParamType[Any, Any]):
    name = "duration"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        found = _FORM.fullmatch(str(value).strip())
        seconds = float(found[1]) * _SECONDS[found[2]] if found else 0.0
        if not seconds:
            self.fail(f"{value!r} is no duration; write one such as 30min, 7s or 1.5h", param, ctx)
        return seconds


DURATION: Final = _Duration()
