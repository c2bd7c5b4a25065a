"""Lengths and masses that a person measured, with what they are good to: "1.550 m ± 2 mm"."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import click

from quiethand.bow.quantities import MASS, Dimension, quantity
from quiethand.calibrate.inertia import Measurand
from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup

__all__ = ["CORD_SIGMA_M", "SPACING_SIGMA_M", "mass_of", "measurand", "shown"]

# What a scale and a tape at home are good to, where nobody says (common practice, no source).
MASS_SHARE: Final = 0.005
CORD_SIGMA_M: Final = 0.002
SPACING_SIGMA_M: Final = 0.001


def mass_of(text: str | None, setup: Setup | None) -> Measurand:
    """The bow's mass as typed, or as the set-up states it."""
    if text is not None:
        return measurand(text, MASS, "--mass", None)
    if setup is None or setup.bow.mass_kg is None:
        raise click.UsageError("weigh the bow as it hangs and give --mass; no set-up states it")
    return Measurand(setup.bow.mass_kg, MASS_SHARE * setup.bow.mass_kg)


def measurand(text: str, dimension: Dimension, where: str, usual_sigma: float | None) -> Measurand:
    """ "1.550 m ± 2 mm" as a value and its standard uncertainty; without one the usual, or half a percent."""
    parts = re.split(r"\s*(?:±|\+/?-)\s*", text.strip(), maxsplit=1)
    value = quantity(parts[0], dimension, where)
    sigma = usual_sigma if usual_sigma is not None else MASS_SHARE * value
    if len(parts) == 2:
        sigma = quantity(parts[1], dimension, f"{where}, behind the ±")
    if value <= 0 or not 0 <= sigma < 0.2 * value:
        raise InputError(f'"{text}" is out of range', where=where, do=f'write it as in "{dimension.example}"')
    return Measurand(value, sigma)


def shown(what: Measurand, unit: str) -> str:
    """ "1.5000 ± 0.0020 m"."""
    return f"{what.value:.4f} ± {what.sigma:.4f} {unit}"
