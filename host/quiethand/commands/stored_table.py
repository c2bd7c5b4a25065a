"""Stored shots as a table in a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from quiethand.store import ShotRecord, open_store
from quiethand.words import NOT_KNOWN, axis_words, shift_words, with_sigma

__all__ = ["print_shots"]


def print_shots(store_url: str) -> None:
    """Print the last 200 shots of a store, the oldest first."""
    store = open_store(store_url)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for heading in ("shot", "on the string, ms", "cant", "pitch", "yaw", "at the target", "judged"):
        table.add_column(heading, overflow="fold")
    for shot in reversed(store.latest_shots(200)):
        table.add_row(*_cells(shot))
    store.close()
    console = Console(highlight=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=160)
    console.print(table)


def _cells(shot: ShotRecord) -> list[str]:
    m = shot.measures
    string, sigma = m["time_on_string_s"], m["time_on_string_sigma_s"]
    ms = None if string is None else string * 1e3
    sigma_ms = None if sigma is None else sigma * 1e3
    right, up = m["pointing_right_mm"], m["pointing_up_mm"]
    target = NOT_KNOWN if right is None else f"{shift_words('right', right)}, {shift_words('up', up)}"
    return [
        f"{shot.number} (old method)" if shot.stale else str(shot.number),
        with_sigma(ms, sigma_ms, 2),
        *(axis_words(axis, m[f"rotation_{axis}_deg"]) for axis in ("cant", "pitch", "yaw")),
        target,
        "; ".join(flag["text"] for flag in shot.flags) or "nothing over its limit",
    ]
