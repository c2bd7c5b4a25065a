"""How something typed enters the store: one transaction, one entry in the list, and the list's copy on disk."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from sqlalchemy import Connection, Engine

from quiethand.errors import InputError
from quiethand.store.engine import writing
from quiethand.store.events import enter
from quiethand.store.journal import Journal
from quiethand.store.rows import count_change

__all__ = ["MOST_SHOTS_AT_ONCE", "Typing", "refuse_far", "words"]

MOST_SHOTS_AT_ONCE: Final = 5000
_FAR_MM: Final = 10_000.0  # no butt is that wide


class Typing:
    """What the parts of `Store` that take what people type have in common."""

    engine: Engine
    journal: Journal | None

    def _enter(
        self,
        kind: str,
        payload: Mapping[str, Any],
        shot_ids: Sequence[int | None] = (None,),
        *,
        recording: str | None = None,
    ) -> list[int]:
        return self._enter_all([(kind, payload, shot_ids)], recording=recording)

    def _enter_all(
        self,
        entries: Sequence[tuple[str, Mapping[str, Any], Sequence[int | None]]],
        *,
        recording: str | None = None,
        check: Callable[[Connection], None] | None = None,
    ) -> list[int]:
        """Several entries in one transaction, after a `check` within it that may raise."""
        if sum(len(shot_ids) for _, _, shot_ids in entries) > MOST_SHOTS_AT_ONCE:
            raise InputError(f"more than {MOST_SHOTS_AT_ONCE} at once", do="do them in several goes")
        done: list[int] = []
        with writing(self.engine) as connection:
            if check is not None:
                check(connection)
            for kind, payload, shot_ids in entries:
                done += enter(connection, kind, payload, list(dict.fromkeys(shot_ids)), recording=recording)
            count_change(connection)
        if self.journal is not None:
            self.journal.bring_together(self.engine)
        return done


def words(text: str, what: str, most: int, *, lines: bool = False) -> str:
    """What a person typed, without blanks around it.

    Raises:
        InputError: nothing in it, too long, or several lines where one is asked for.
    """
    said = text.strip()
    if not said:
        raise InputError(f"{what} without a word", do="type it")
    if len(said) > most:
        raise InputError(f"{what} of {len(said)} characters", do=f"keep it within {most}")
    if "\0" in said or (not lines and any(sign in said for sign in "\r\n\t")):
        raise InputError(f"{what} has signs that it can't hold", do="keep it to one line of plain text")
    return said


def refuse_far(right_mm: float, up_mm: float) -> None:
    """Raises: InputError: no place that an arrow can hit."""
    for name, value in (("right", right_mm), ("up", up_mm)):
        if not (math.isfinite(value) and abs(value) <= _FAR_MM):
            raise InputError(f"{value} mm {name} is no place on a target", do="give mm from the middle of the face")
