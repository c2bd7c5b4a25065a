"""Text such as "28.5 in" to a number in SI units, with its dimension checked.

Pint knows every unit and costs half a second to load; a table of the trade's own units answers first, and a test holds
every line of it against pint. Text that the table does not know goes to pint. Both take a number and a unit, never a
formula, since the text may come from a recording that somebody else made.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from quiethand.errors import InputError

if TYPE_CHECKING:
    import pint

__all__ = [
    "ACCELERATION", "ANGLE", "DIMENSIONS", "FORCE", "FREQUENCY", "INERTIA", "LENGTH", "MASS", "RATE", "TIME", "TORQUE",
    "UNITS", "Dimension", "quantity", "shown",
]  # fmt: skip

# Exact by definition: CGPM 1901 (standard gravity), the yard and pound agreement of 1959, SI Brochure.
INCH_M: Final = 0.0254
POUND_KG: Final = 0.45359237
STANDARD_GRAVITY_M_S2: Final = 9.80665


@dataclass(frozen=True)
class Dimension:
    """What a quantity measures: its name in a message, its SI unit as pint writes it, and a good example."""

    name: str
    si: str
    example: str


LENGTH: Final = Dimension("a length", "meter", "28.5 in")
MASS: Final = Dimension("a mass", "kilogram", "350 grain")
FORCE: Final = Dimension("a force", "newton", "60 lbf")
TIME: Final = Dimension("a time", "second", "1.2 ms")
ANGLE: Final = Dimension("an angle", "radian", "0.1 deg")
RATE: Final = Dimension("a rate of turn", "radian / second", "0.5 deg/s")
ACCELERATION: Final = Dimension("an acceleration", "meter / second ** 2", "156.9 m/s^2")
INERTIA: Final = Dimension("a moment of inertia", "kilogram * meter ** 2", "0.35 kg m^2")
TORQUE: Final = Dimension("a torque", "newton * meter", "0.2 N m")
FREQUENCY: Final = Dimension("a frequency", "hertz", "700 Hz")
DIMENSIONS: Final = (LENGTH, MASS, FORCE, TIME, ANGLE, RATE, ACCELERATION, INERTIA, TORQUE, FREQUENCY)

# unit: (dimension, SI units in one of it)
UNITS: Final[dict[str, tuple[Dimension, float]]] = {
    "m": (LENGTH, 1.0),
    "cm": (LENGTH, 0.01),
    "mm": (LENGTH, 0.001),
    "in": (LENGTH, INCH_M),
    "inch": (LENGTH, INCH_M),
    "ft": (LENGTH, 12 * INCH_M),
    "yd": (LENGTH, 36 * INCH_M),
    "kg": (MASS, 1.0),
    "g": (MASS, 0.001),
    "lb": (MASS, POUND_KG),
    "oz": (MASS, POUND_KG / 16),
    "grain": (MASS, 64.79891e-6),
    "gr": (MASS, 64.79891e-6),
    "N": (FORCE, 1.0),
    "lbf": (FORCE, POUND_KG * STANDARD_GRAVITY_M_S2),
    "kgf": (FORCE, STANDARD_GRAVITY_M_S2),
    "s": (TIME, 1.0),
    "ms": (TIME, 1e-3),
    "us": (TIME, 1e-6),
    "rad": (ANGLE, 1.0),
    "deg": (ANGLE, math.pi / 180),
    "rad/s": (RATE, 1.0),
    "deg/s": (RATE, math.pi / 180),
    "m/s^2": (ACCELERATION, 1.0),
    "g_0": (ACCELERATION, STANDARD_GRAVITY_M_S2),
    "kg m^2": (INERTIA, 1.0),
    "kg cm^2": (INERTIA, 1e-4),
    "g m^2": (INERTIA, 1e-3),
    "N m": (TORQUE, 1.0),
    "Hz": (FREQUENCY, 1.0),
    "kHz": (FREQUENCY, 1e3),
}

# (unit written, dimension asked for): what was most likely meant
MEANT: Final = {
    ("lb", FORCE): "lbf",
    ("lbs", FORCE): "lbf",
    ("pound", FORCE): "lbf",
    ("pounds", FORCE): "lbf",
    ("oz", FORCE): "ozf",
    ("kg", FORCE): "kgf",
    ("g", FORCE): "gf",
    ("lbf", MASS): "lb",
    ("kgf", MASS): "kg",
    ("g", ACCELERATION): "g_0",
}

_NUMBER_AND_UNIT: Final = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(?P<unit>[^\d\s].*?)?\s*"
)
_FRACTION: Final = re.compile(r"\s*[+-]?(?:(?P<whole>\d+)\s+)?(?P<top>\d{1,3})/(?P<bottom>\d{1,3})\s*(?P<unit>.*)")
# names with at most a one-digit power: nothing that could be evaluated at length
_UNIT: Final = re.compile(r"[^\W\d]\w{0,30}(?:\^-?\d)?(?:[ /][^\W\d]\w{0,30}(?:\^-?\d)?){0,5}|°(?:/s)?")


def quantity(text: object, dimension: Dimension, where: str = "") -> float:
    """The SI value of a number with a unit, such as "28.5 in".

    Args:
        text: a number and a unit; anything else is refused.
        dimension: what it must measure.
        where: the file and key, for the message.

    Returns:
        The value in the dimension's SI unit (`dimension.si`), finite.

    Raises:
        InputError: no unit, an unknown one, or one of another dimension.
    """
    right = f'write {dimension.name} with its unit, as in "{dimension.example}"'
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        raise InputError(f"{shown(text)} has no unit", where=where, do=right)
    if not isinstance(text, str):
        raise InputError(f"{shown(text)} is not a quantity", where=where, do=right)
    if len(text) > 80 or not text.isprintable():
        raise InputError(f"{shown(text)} is too long for a quantity, or not printable", where=where, do=right)
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if match is None or match["unit"] is None or match["unit"][0] in "+-/.,":
        raise InputError(f'"{text}" {_why_not(text)}', where=where, do=_decimal(text) or right)
    number, unit = float(match["number"]), _normal(match["unit"])
    found: Dimension | None
    found, factor = UNITS[unit] if unit in UNITS else _by_pint(text, unit, where, right)
    if found != dimension:
        meant = MEANT.get((unit, dimension))
        do = f'write "{match["number"]} {meant}" if that was meant' if meant else right
        is_ = f"is {found.name}, not" if found else "is not"
        raise InputError(f'"{text}" {is_} {dimension.name}', where=where, do=do)
    value = number * factor
    if not math.isfinite(value):
        raise InputError(f'"{text}" is out of range', where=where, do=right)
    return value


def _normal(unit: str) -> str:
    unit = unit.replace("²", "^2").replace("**", "^").replace("*", " ").replace("·", " ").replace("−", "-")
    unit = re.sub(r"\s*([/^])\s*", r"\1", unit)
    return re.sub(r"\s+", " ", unit).strip()


def _by_pint(text: str, unit: str, where: str, right: str) -> tuple[Dimension | None, float]:
    """The dimension and size of any unit that pint knows; no dimension if it is none of ours."""
    near = difflib.get_close_matches(unit, UNITS, n=1, cutoff=0.6) or difflib.get_close_matches(
        unit.casefold(), UNITS, n=1, cutoff=0.6
    )
    unknown = InputError(
        f'"{text}" has an unknown unit "{unit}"', where=where, do=f'did you mean "{near[0]}"?' if near else right
    )
    if not _UNIT.fullmatch(unit):
        raise unknown
    registry = _registry()
    try:
        in_base = registry.Quantity(1.0, registry.parse_units(unit)).to_base_units()
    except Exception as trouble:  # whatever a unit's name makes a foreign parser raise, it is not a unit
        raise unknown from trouble
    # pint counts a radian as nothing, so that "Hz" would pass for a rate of turn: compare base units, not dimensions
    for dimension in DIMENSIONS:
        if in_base.units == registry.Quantity(1.0, registry.parse_units(dimension.si)).to_base_units().units:
            return dimension, float(in_base.magnitude)
    return None, 0.0


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry()


def shown(value: object) -> str:
    """A value as a message shows it: short, on one line, text in double quotes."""
    text = f'"{value}"' if isinstance(value, str) and value.isprintable() else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _why_not(text: str) -> str:
    if _FRACTION.fullmatch(text):
        return "is written as a fraction"
    if re.search(r"\d,\d", text):
        return "has a comma in its number"
    try:
        float(text)
    except ValueError:
        return "is not a number with a unit"
    return "has no unit"


def _decimal(text: str) -> str | None:
    """The same as a decimal number, where it is plain what was meant."""
    if fraction := _FRACTION.fullmatch(text):
        bottom = int(fraction["bottom"])
        if bottom:
            return f'write "{int(fraction["whole"] or 0) + int(fraction["top"]) / bottom:g} {fraction["unit"]}"'
    if re.search(r"\d,\d", text):
        return f'write "{text.replace(",", ".")}"'
    return None
