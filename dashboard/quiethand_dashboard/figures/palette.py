"""The page's colours in both schemes; those of the axes are the same everywhere (`quiethand.colours`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from quiethand.colours import AXIS_COLOURS, OKABE_ITO

__all__ = ["AXIS_COLOURS", "DARK", "DASHES", "LIGHT", "OKABE_ITO", "Ink", "Scheme", "ink", "with_alpha"]

Scheme = Literal["light", "dark"]

# Shots that share a panel share its colour and differ by their line, so that they stay apart in print too.
DASHES: Final = ("solid", "6px,3px", "2px,2px", "10px,3px,2px,3px", "14px,4px", "1px,4px")


@dataclass(frozen=True)
class Ink:
    """The neutral colours of one scheme."""

    page: str
    text: str
    quiet: str  # text of second rank, over 4.5:1 on the page
    rule: str
    window: str  # the time on the string
    band: str  # the usual


LIGHT: Final = Ink(
    page="#ffffff",
    text="#1b1f23",
    quiet="#59626b",
    rule="#d5dade",
    window="rgba(86,180,233,0.16)",
    band="rgba(90,98,107,0.22)",
)
DARK: Final = Ink(
    page="#15191d",
    text="#eef1f3",
    quiet="#a3adb6",
    rule="#39424a",
    window="rgba(86,180,233,0.14)",
    band="rgba(170,180,190,0.24)",
)


def ink(scheme: Scheme) -> Ink:
    return DARK if scheme == "dark" else LIGHT


def with_alpha(colour: str, alpha: float) -> str:
    """ "#0072B2" with an opacity, as Plotly and CSS read it."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha:g})"
