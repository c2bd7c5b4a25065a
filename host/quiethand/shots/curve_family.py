"""Strokes of the string: from a launch model, or a family of generic ones for when no set-up says what the bow is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from quiethand.bow.launch import Launch

__all__ = ["FamilyMember", "Stroke", "family", "stroke_of"]


@dataclass(frozen=True)
class Stroke:
    """The nock's free acceleration along its way from full draw."""

    travel_m: NDArray[np.float64]  # (n,) rising from 0
    accel_m_s2: NDArray[np.float64]  # (n,)


@dataclass(frozen=True)
class FamilyMember:
    kind: Literal["compound", "recurve"]
    stroke: Stroke
    holding_m_s2: float  # holding force over a usual bow's mass
    moving_kg: float  # arrow and virtual mass at brace


def stroke_of(launch: Launch) -> Stroke:
    """From the launch model: what the string gives at each place, over all that moves with it."""
    accel = launch.force_n * (1 - launch.friction) / (launch.arrow_mass_kg + launch.virtual_mass_kg)
    return Stroke(launch.travel_m, accel)


def family(kind: Literal["compound", "recurve"] | None) -> tuple[FamilyMember, ...]:
    """Generic strokes (invented shapes): compounds of three let-offs, one recurve. 60 lbf and 40 lbf, 25 g moving."""
    members: list[FamilyMember] = []
    if kind != "recurve":
        for let_off in (0.65, 0.75, 0.85):
            x = np.linspace(0, 0.50, 301)
            rise = 0.5 * (1 - np.cos(np.pi * np.clip(x / 0.14, 0, 1)))
            fall = 0.5 * (1 - np.cos(np.pi * np.clip((0.50 - x) / 0.22, 0, 1)))
            shape = ((1 - let_off) + let_off * rise) * fall
            members.append(
                FamilyMember("compound", Stroke(x, 267.0 * shape / 0.030), 267.0 * (1 - let_off) / 2.7, 0.030)
            )
    if kind != "compound":
        x = np.linspace(0, 0.45, 301)
        shape = 1 - 0.78 * x / 0.45 - 0.22 * (x / 0.45) ** 4
        members.append(FamilyMember("recurve", Stroke(x, 178.0 * shape / 0.027), 178.0 / 2.5, 0.027))
    return tuple(members)
