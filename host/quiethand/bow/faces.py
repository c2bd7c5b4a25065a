"""World Archery target faces: ring radii, the score of an arrow, and which face a distance is shot at."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from quiethand.bow.model import Setup, Target

__all__ = ["FACES", "Face", "Hit", "face_of", "score"]

TOUCH_MM: Final = 1e-6  # a nanometre: an arrow "on" the line must not miss it by a rounding


@dataclass(frozen=True)
class Face:
    """A ten-ring face. Radii in mm from the centre."""

    name: str
    ten_radius_mm: float
    inner_ten_radius_mm: float

    @property
    def ring_width_mm(self) -> float:
        """Each ring is as wide as the ten's radius, half of its diameter."""
        return self.ten_radius_mm

    def ring_radius_mm(self, points: int) -> float:
        """Outer radius of the ring that scores `points`, 1 to 10."""
        if not 1 <= points <= 10:
            raise ValueError(f"rings score 1 to 10, not {points}")
        return self.ring_width_mm * (11 - points)


# World Archery rules on target faces (from memory): the ten ring is 12.2, 8.0, 6.0 and 4.0 cm across, the inner ten
# 6.1, 4.0, 3.0 and 2.0 cm.
FACES: Final = {
    face.name: face
    for face in (
        Face("122 cm", 61.0, 30.5),
        Face("80 cm", 40.0, 20.0),
        Face("60 cm", 30.0, 15.0),
        Face("40 cm", 20.0, 10.0),
    )
}


@dataclass(frozen=True)
class Hit:
    points: int  # 0 is a miss
    inner_ten: bool
    line_mm: float  # from the shaft's edge to the nearest line that matters; 0 touches, small is a call for a judge


def score(face: Face, right_mm: float, up_mm: float, shaft_diameter_mm: float = 0.0) -> Hit:
    """The score of one arrow; a shaft that touches a line scores the higher value.

    Args:
        face: what is shot at.
        right_mm, up_mm: the shaft's middle from the centre of the face.
        shaft_diameter_mm: outside diameter.
    """
    edge = math.hypot(right_mm, up_mm) - shaft_diameter_mm / 2  # the part of the shaft nearest to the centre
    lines = [face.inner_ten_radius_mm, *(face.ring_radius_mm(points) for points in range(10, 0, -1))]
    points = next((p for p in range(10, 0, -1) if edge <= face.ring_radius_mm(p) + TOUCH_MM), 0)
    return Hit(points, edge <= face.inner_ten_radius_mm + TOUCH_MM, min(abs(edge - line) for line in lines))


def face_of(setup: Setup | Target) -> Face | None:
    """The face stated, or else the one that is commonly shot at the stated distance; None if neither is known.

    Common practice: 40 cm up to 20 m (18 m indoors), 60 cm up to 27 m (25 m indoors), 80 cm up to 50 m, 122 cm beyond.
    """
    target = setup.target if isinstance(setup, Setup) else setup
    if target.face is not None:
        return FACES[target.face]
    if target.distance_m is None:
        return None
    for name, up_to_m in (("40 cm", 20.0), ("60 cm", 27.0), ("80 cm", 55.0)):
        if target.distance_m <= up_to_m:
            return FACES[name]
    return FACES["122 cm"]
