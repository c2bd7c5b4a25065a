"""Where the arrows hit: the group, its score, and how much of it the bow's motion explains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from quiethand.bow.faces import FACES
from quiethand.errors import InputError
from quiethand.judge.explained import explained, explained_words, why_not_explained
from quiethand.judge.group import Group, group, scores, why_no_group
from quiethand.judge.group_words import group_words, score_words
from quiethand.report.gathered import Gathered
from quiethand.report.said import plural

if TYPE_CHECKING:
    from quiethand.bow.faces import Face

__all__ = ["GroupPart", "group_part"]


@dataclass(frozen=True)
class GroupPart:
    points_mm: tuple[tuple[float, float], ...]  # right, up
    group: Group | None
    face: Face | None
    words: tuple[str, ...]
    score: tuple[str, ...]
    explained: tuple[str, ...]


def group_part(gathered: Gathered) -> GroupPart | None:
    """None where no impact is joined to a shot of the span."""
    impacts = gathered.impacts
    if not impacts:
        return None
    points = tuple((impact.right_mm, impact.up_mm) for impact, _ in impacts)
    right, up = ([point[side] for point in points] for side in (0, 1))
    faces = {impact.face for impact, _ in impacts if impact.face}
    face = FACES.get(next(iter(faces))) if len(faces) == 1 else None
    words: tuple[str, ...]
    found: Group | None = None
    why = why_no_group(len(points))
    try:
        found = group(right, up) if why is None else None
        words = group_words(found) if found is not None else (f"{why}.",)
    except InputError as wrong:
        words = (f"{wrong}.",)
    score: tuple[str, ...] = ()
    if face is not None:
        score = score_words(scores(face, right, up, shaft_mm=[impact.diameter_mm for impact, _ in impacts]))
    elif len(faces) > 1:
        score = (f"No score: {plural(len(faces), 'face')} were shot at.",)
    return GroupPart(points, found, face, words, score, _explained(gathered))


def _explained(gathered: Gathered) -> tuple[str, ...]:
    needed = ("pointing_right_mm", "pointing_up_mm", "rate_yaw_deg_s", "rate_pitch_deg_s")
    whole = [(impact, row) for impact, row in gathered.impacts if all(row[name] is not None for name in needed)]
    why = why_not_explained(len(whole))
    if why is not None:
        return (f"How much of it the bow's motion explains: {why}.",)
    figures = np.array([[impact.right_mm, impact.up_mm, *(row[name] for name in needed)] for impact, row in whole])
    try:
        return explained_words(explained(figures[:, :2], figures[:, 2:4], figures[:, 4:]))
    except InputError as wrong:
        return (f"{wrong}.",)
