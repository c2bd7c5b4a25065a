"""The set-up's form: which keys of the set-up's file it has, and its texts in metric or imperial units. Pure."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from quiethand.bow.faces import FACES
from quiethand.bow.quantities import FORCE, LENGTH, MASS, Dimension, quantity
from quiethand.errors import InputError

__all__ = ["FORM", "Field", "Units", "document_of", "shown"]

Units = Literal["metric", "imperial"]


@dataclass(frozen=True)
class Field:
    """One key of the file; `metric` and `imperial` are the units it is shown in, "" for a plain text or number."""

    table: str
    key: str
    label: str
    metric: str = ""
    imperial: str = ""
    choices: tuple[str, ...] = ()
    number: bool = False


# Exact by definition: pound, grain, pound force, inch, yard.
_SI: Final = {
    "N": 1.0, "lbf": 4.4482216152605, "cm": 0.01, "in": 0.0254, "kg": 1.0, "lb": 0.45359237, "g": 0.001,
    "grain": 64.79891e-6, "m": 1.0, "yd": 0.9144,
}  # fmt: skip
_DIMENSIONS: Final[Mapping[str, Dimension]] = {"N": FORCE, "cm": LENGTH, "m": LENGTH, "kg": MASS, "g": MASS}

FORM: Final = (
    Field("archer", "handedness", "Handedness", choices=("right", "left")),
    Field("bow", "kind", "Kind of bow", choices=("compound", "recurve")),
    Field("bow", "peak_weight", "Peak weight", "N", "lbf"),
    Field("bow", "let_off", "Let-off, as a fraction", number=True),
    Field("bow", "draw_length", "Draw length (to the grip plus 1.75 in)", "cm", "in"),
    Field("bow", "brace_height", "Brace height", "cm", "in"),
    Field("bow", "mass", "Mass of the bow", "kg", "lb"),
    Field("arrow", "name", "Arrow"),
    Field("arrow", "mass", "Mass of the arrow", "g", "grain"),
    Field("arrow", "length", "Length of the arrow", "cm", "in"),
    Field("target", "face", "Face", choices=tuple(FACES)),
    Field("target", "distance", "Distance", "m", "yd"),
)


def shown(document: Mapping[str, Any], field: Field, units: Units) -> str:
    """A key's text in the units chosen; "" where it is not stated, as it stands where it can't be read."""
    table = document.get(field.table)
    value = table.get(field.key) if isinstance(table, Mapping) else None
    if value is None:
        return ""
    unit = field.metric if units == "metric" else field.imperial
    if not unit or not isinstance(value, str):
        return str(value)
    try:
        si = quantity(value, _DIMENSIONS[field.metric])
    except InputError:
        return value
    return f"{si / _SI[unit]:.5g} {unit}"


def document_of(
    before: Mapping[str, Any], texts: Mapping[tuple[str, str], str], archer: str, bow: str, units: Units
) -> dict[str, Any]:
    """The document with what the form says; a text that was not changed keeps its own unit and digits.

    Raises:
        InputError: a quantity without a unit, or anything that the set-up's file would be refused for.
    """
    from quiethand.bow.setup_file import setup_from_document

    after: dict[str, Any] = copy.deepcopy(dict(before))
    for table, name in (("archer", archer), ("bow", bow)):
        after.setdefault(table, {})["name"] = name
    for field in FORM:
        text = (texts.get((field.table, field.key)) or "").strip()
        if text == shown(before, field, units):
            continue
        table = after.setdefault(field.table, {})
        if not text:
            table.pop(field.key, None)
        elif field.number:
            try:
                table[field.key] = float(text)
            except ValueError:
                raise InputError(f'{field.label}: "{text[:40]}" is no number', do="write it as 0.75") from None
        else:
            table[field.key] = text
    setup_from_document({name: table for name, table in after.items() if table}, "the form")
    return {name: table for name, table in after.items() if table}
