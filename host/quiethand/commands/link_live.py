"""The health of a link on a terminal, drawn anew twice a second."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from quiethand.commands.link_words import health_lines
from quiethand.link.health_judge import Densities, problems

if TYPE_CHECKING:
    from quiethand.link.health import LinkHealth

__all__ = ["LiveHealth"]


class LiveHealth:
    """Redraws in the caller's thread only."""

    def __init__(self, port: str, densities: Densities) -> None:
        self._port, self._densities = port, densities
        self._live = Live(console=Console(), auto_refresh=False, transient=True)
        self._live.start()

    def show(self, health: LinkHealth) -> None:
        table = Table.grid(padding=(0, 2))
        if not health.samples:
            table.add_row("waiting for samples", "")
        for name, value in health_lines(health, self._densities) if health.samples else ():
            table.add_row(Text(name, style="bold"), Text(value))
        wrong = problems(health, self._densities) if health.samples else []
        told = [Text(f"! {what}: {do}") for what, do in wrong]
        self._live.update(Group(Text(f"{self._port}; Ctrl-C ends it"), table, *told), refresh=True)

    def stop(self) -> None:
        self._live.stop()
