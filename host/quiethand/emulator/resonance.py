"""A mass on a spring and a damper, driven by anything: hand, mount and anti-alias filter are all of this kind."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["respond"]

Floats = NDArray[np.float64]
LARGEST_EXPONENT = 300.0  # doubles overflow near 709; a chunk's growth stays far from it


def respond(drive: Floats, step_s: float, natural_rad_s: float, ratio: float) -> tuple[Floats, Floats]:
    """Solve x'' + 2 ratio w x' + w^2 x = drive from rest, for a drive that is straight between samples.

    With the complex pole p, z' = p z + drive gives x = Im(z)/wd and x' = Im(p z)/wd. One step of z is exact for a
    straight drive, and the recursion is a running sum once the pole's own growth is divided out.

    Args:
        drive: shape (n,), in units of x per s^2.
        step_s: between samples.
        natural_rad_s: w.
        ratio: of damping, above 0 and below 1.

    Returns:
        x and x', each (n,).
    """
    damped = natural_rad_s * math.sqrt(1 - ratio * ratio)
    pole = complex(-ratio * natural_rad_s, damped)
    grow = np.exp(pole * step_s)
    second = (grow - 1 - pole * step_s) / (pole * pole * step_s)
    first = (grow - 1) / pole - second
    gains = first * drive[:-1] + second * drive[1:]
    z = np.zeros(len(drive), dtype=np.complex128)
    longest = max(1, int(LARGEST_EXPONENT / (ratio * natural_rad_s * step_s)))
    powers = np.exp(pole * step_s * np.arange(1, min(longest, len(gains)) + 1))
    for begin in range(0, len(gains), longest):
        part = gains[begin : begin + longest]
        power = powers[: len(part)]
        z[begin + 1 : begin + 1 + len(part)] = power * (z[begin] + np.cumsum(part / power))
    return z.imag / damped, (pole * z).imag / damped
