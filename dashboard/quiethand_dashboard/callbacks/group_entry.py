"""Impacts into the store: tapped, typed, imported, taken back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from quiethand.errors import InputError
from quiethand.store.records import ShotFilter
from quiethand.store.typed_records import NewImpact

from quiethand_dashboard import ids, telling
from quiethand_dashboard.impacts_file import read_impacts, uploaded_text

if TYPE_CHECKING:
    from quiethand.store.store import Store

__all__ = ["enter", "import_impacts", "place", "remove", "take_back"]


def enter(
    store: Store, archer: str, shots: Sequence[tuple[int, int]], moved: Any, tapped: Any, contents: str | None,
    fields: Sequence[Any],
) -> str:  # fmt: skip
    """Do what was asked; returns the sentence on it.

    Args:
        shots: id and number of those the page shows, the oldest first.
        moved: the id of the component that asked.
        fields: the next shot, right, up, the shaft's diameter, the face.
    """
    next_shot, right, up, shaft, face = fields
    if moved == ids.GROUP_BACK:
        return take_back(store, archer)
    if moved == ids.GROUP_FILE:
        return import_impacts(store, archer, shots, contents or "", face or "")
    if moved == ids.GROUP_TAPPED:
        return place(store, archer, shots, next_shot, tapped["right"], tapped["up"], shaft, face or "", tapped=True)
    return place(store, archer, shots, next_shot, right, up, shaft, face or "", tapped=False)


def remove(store: Store, impact_id: int) -> str:
    """Remove one impact; the sentence on it."""
    store.remove_impact(impact_id)
    return "Removed the impact."


def place(
    store: Store, archer: str, shots: Sequence[tuple[int, int]], next_shot: str | None, right: Any, up: Any,
    shaft: Any, face: str, *, tapped: bool,
) -> str:  # fmt: skip
    """Add one impact, to the shot that is next; tapped faster than the page follows, to the one after it.

    Raises:
        InputError: no place is given, or the shot has an impact.
    """
    if not all(isinstance(v, int | float) and math.isfinite(v) for v in (right, up)):
        raise InputError("the place is not given", do="write how far right and how far up in mm, or tap on the face")
    shot_id = int(next_shot) if next_shot and next_shot.isascii() and next_shot.isdigit() else None
    numbers = dict(shots)
    if shot_id is not None and tapped:
        marks = store.marks([i for i, _ in shots])
        order = [i for i, _ in shots]
        later = order[order.index(shot_id) :] if shot_id in order else [shot_id]
        shot_id = next((i for i in later if i not in marks or marks[i].impact is None), None)
    store.add_impact(
        NewImpact(
            round(float(right), 1),
            round(float(up), 1),
            shot_id,
            archer=archer,
            face=face,
            diameter_mm=float(shaft) if isinstance(shaft, int | float) and shaft > 0 else None,
            source="tapped" if tapped else "typed",
        )
    )
    where = f"{telling.said_shift('right', float(right)).text}, {telling.said_shift('up', float(up)).text}"
    return f"{'An impact without a shot' if shot_id is None else f'Shot {numbers.get(shot_id, shot_id)}'}: {where}."


def take_back(store: Store, archer: str) -> str:
    """Remove the impact that was entered last."""
    found = store.impacts(ShotFilter(archer=archer), limit=5000)
    if not found:
        raise InputError("there is no impact to take back")
    last = max(found, key=lambda i: i.id)
    store.remove_impact(last.id)
    return f"Took back {telling.said_shift('right', last.right_mm).text}, {telling.said_shift('up', last.up_mm).text}."


def import_impacts(store: Store, archer: str, shots: Sequence[tuple[int, int]], contents: str, face: str) -> str:
    """Add all impacts of a file, or none. Those that state a shot's number are joined to it; where none does and there
    are as many as shots that wait, they are joined in order; else they stand by themselves.

    Raises:
        InputError: the file can't be read, or names a shot that the page does not show or shows twice.
    """
    read = read_impacts(uploaded_text(contents))
    marks = store.marks([i for i, _ in shots])
    waiting = [i for i, _ in shots if marks[i].impact is None]
    in_order = all(one.shot is None for one in read) and len(read) == len(waiting)
    joined = waiting if in_order else [_shot_of(one.shot, shots) for one in read]
    store.add_impacts(
        [
            NewImpact(
                one.right_mm, one.up_mm, shot_id, archer=archer, face=face, diameter_mm=one.diameter_mm,
                source="imported", remark=one.remark,
            )
            for one, shot_id in zip(read, joined, strict=True)
        ]
    )  # fmt: skip
    free = sum(shot_id is None for shot_id in joined)
    return f"Imported {len(read)} impacts, {len(read) - free} of them joined to their shots."


def _shot_of(number: int | None, shots: Sequence[tuple[int, int]]) -> int | None:
    if number is None:
        return None
    fit = [shot_id for shot_id, of in shots if of == number]
    if len(fit) != 1:
        why = "is not shown here" if not fit else "is shown more than once"
        raise InputError(f"shot {number} {why}", do="narrow the page to the day and arrow that the file is of")
    return fit[0]
