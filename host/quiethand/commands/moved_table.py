"""What a new measurement would change, as lines for a terminal, in memory that does not grow with the shots."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from quiethand.store.remeasured import Change, Moved

__all__ = ["Moves"]

_MOST_DETAILS: Final = 2000
_NAMED: Final = 5  # shots that are named where many come or go


@dataclass
class _Figure:
    """What becomes of one measure, over all shots."""

    moved: int = 0
    lost: int = 0
    found: int = 0
    largest: float = 0.0
    sigmas: array[float] = field(default_factory=lambda: array("f"))

    def take(self, figure: Moved) -> None:
        if figure.new is None:
            self.lost += 1
        elif figure.old is None:
            self.found += 1
        else:
            self.moved += 1
            self.largest = max(self.largest, abs(figure.new - figure.old))
            if figure.sigmas is not None:
                self.sigmas.append(figure.sigmas)

    def words(self) -> str:
        parts = []
        if self.moved:
            size = f"by up to {self.largest:.3g}"
            if self.sigmas:
                known = sorted(self.sigmas)
                size += f", {known[len(known) // 2]:.2g} sigma in the middle, {known[-1]:.2g} at most"
            parts.append(f"moves in {self.moved} shots {size}")
        if self.lost:
            parts.append(f"is no longer known in {self.lost}")
        if self.found:
            parts.append(f"is known now in {self.found}")
        return "; ".join(parts)


class Moves:
    """Takes changes one by one and tells them: each at once where `details` are wanted, and their sum at the end."""

    def __init__(self, *, details: bool) -> None:
        self._details = _MOST_DETAILS if details else 0
        self._figures: dict[str, _Figure] = {}
        self._shots: dict[str, list[str]] = {"new": [], "gone": []}
        self._count = {"new": 0, "gone": 0, "moved": 0}

    @property
    def shots(self) -> int:
        """How many change in any way."""
        return sum(self._count.values())

    def take(self, change: Change) -> None:
        self._count[change.kind] += 1
        if change.kind != "moved":
            if len(self._shots[change.kind]) < _NAMED:
                self._shots[change.kind].append(f"{change.recording} shot {change.number}")
            return
        for figure in change.moved:
            self._figures.setdefault(figure.measure, _Figure()).take(figure)
            if self._details:
                self._details -= 1
                click.echo(f"  {change.recording} shot {change.number}: {_words(figure)}")
                if not self._details:
                    click.echo("  and so on")

    def tell(self) -> None:
        """Which figures move and by how many standard uncertainties."""
        if not self.shots:
            click.echo("no figure moves")
        for kind, words in (("new", "found now that were not before"), ("gone", "no longer found")):
            if count := self._count[kind]:
                more = count - len(self._shots[kind])
                click.echo(f"{count} shots {words}: {', '.join(self._shots[kind])}" + f" and {more} more" * (more > 0))
        for measure, figure in self._figures.items():
            click.echo(f"{measure}: {figure.words()}")


def _words(figure: Moved) -> str:
    sigmas = "" if figure.sigmas is None else f" ({figure.sigmas:.2g} sigma)"
    return f"{figure.measure} {_value(figure.old)} -> {_value(figure.new)}{sigmas}"


def _value(value: float | None) -> str:
    return "not known" if value is None else f"{value:.6g}"
