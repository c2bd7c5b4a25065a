"""Small JSON files by which processes of one home tell each other things: replaced at once, never half read."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, Final

__all__ = ["read_json", "write_json"]

_MOST_BYTES: Final = 65_536


def write_json(path: Path, values: object) -> None:
    """Replace the file at once.

    Raises:
        OSError: it can't be written.
    """
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    fresh.write_text(json.dumps(values, ensure_ascii=False), encoding="utf-8")
    fresh.replace(path)


def read_json(path: Path) -> dict[str, Any] | None:
    """The object in the file; None where there is none that can be read."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            return None
        values = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return values if isinstance(values, dict) else None
