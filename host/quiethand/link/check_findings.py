"""What a check found: a line for each thing that the wire format asks for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "Verdict", "advice", "fails", "fine", "not_seen"]

Verdict = Literal["ok", "fails", "advice", "not_seen"]


@dataclass(frozen=True)
class Finding:
    """One line of a check.

    Attributes:
        name: short, stable, for scripts.
        asks: what is asked of a device.
        verdict: "ok"; "fails"; "advice": allowed, and it costs the user something; "not_seen": could not be tried.
        found: what this device did, with figures.
        do: what to do about it; "" where nothing is to be done.
    """

    name: str
    asks: str
    verdict: Verdict
    found: str
    do: str = ""


def fine(name: str, asks: str, found: str) -> Finding:
    return Finding(name, asks, "ok", found)


def fails(name: str, asks: str, found: str, do: str) -> Finding:
    return Finding(name, asks, "fails", found, do)


def advice(name: str, asks: str, found: str, do: str) -> Finding:
    return Finding(name, asks, "advice", found, do)


def not_seen(name: str, asks: str, found: str) -> Finding:
    return Finding(name, asks, "not_seen", found)
