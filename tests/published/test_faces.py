"""World Archery faces, from memory of the rule book.

The 10 ring is 12.2, 8.0, 6.0, 4.0 cm across, rings are as wide as half of that, the inner ten 6.1, 4.0, 3.0, 2.0 cm. An
arrow that touches a line scores the higher value.
"""

from __future__ import annotations

import pytest
from quiethand.bow.faces import FACES, face_of, score
from quiethand.bow.model import Target

MICROMETRE = 1e-3  # in mm


@pytest.mark.parametrize(
    ("name", "face_cm", "ten_cm", "inner_cm"),
    [("122 cm", 122, 12.2, 6.1), ("80 cm", 80, 8.0, 4.0), ("60 cm", 60, 6.0, 3.0), ("40 cm", 40, 4.0, 2.0)],
)
def test_rings(name: str, face_cm: float, ten_cm: float, inner_cm: float) -> None:
    face = FACES[name]
    assert 2 * face.ring_radius_mm(1) == pytest.approx(face_cm * 10)
    assert 2 * face.ring_radius_mm(10) == pytest.approx(ten_cm * 10)
    assert 2 * face.inner_ten_radius_mm == pytest.approx(inner_cm * 10)
    assert face.ring_width_mm == pytest.approx(ten_cm * 10 / 2)


@pytest.mark.parametrize("name", list(FACES))
@pytest.mark.parametrize("points", range(1, 11))
@pytest.mark.parametrize("shaft_mm", [0.0, 5.5, 9.3])
def test_a_touching_shaft_scores_the_higher_ring(name: str, points: int, shaft_mm: float) -> None:
    """On the line and 1 um either side, along an axis and across."""
    face = FACES[name]
    on_line = face.ring_radius_mm(points) + shaft_mm / 2
    for right, up in ((1.0, 0.0), (0.0, -1.0), (-0.6, 0.8)):

        def at(mm: float, right: float = right, up: float = up) -> int:
            return score(face, right * mm, up * mm, shaft_mm).points

        assert at(on_line) == points
        assert at(on_line - MICROMETRE) == points
        assert at(on_line + MICROMETRE) == points - 1


def test_the_inner_ten_and_the_distance_to_the_line() -> None:
    face = FACES["40 cm"]
    assert score(face, 0, 12.75, 5.5).inner_ten
    assert not score(face, 0, 12.75 + MICROMETRE, 5.5).inner_ten
    assert score(face, 23.25, 0, 5.5).line_mm == pytest.approx(0.5)  # the shaft's edge at 20.5 mm, the ten ends at 20
    assert score(face, 23.25, 0, 5.5).points == 9


@pytest.mark.parametrize(("distance_m", "name"), [(18, "40 cm"), (50, "80 cm"), (70, "122 cm")])
def test_the_face_shot_at_a_distance(distance_m: float, name: str) -> None:
    """18 m indoors, 50 m compound, 70 m recurve (World Archery, from memory)."""
    face = face_of(Target(distance_m=distance_m))
    assert face is FACES[name]


def test_what_is_stated_wins_and_nothing_stated_is_no_face() -> None:
    assert face_of(Target(face="60 cm", distance_m=18)) is FACES["60 cm"]
    assert face_of(Target()) is None
