"""The set-up file: TOML of archer, bow, arrow, sensor, target and limits, read into plain values in SI units.

A recording's SESSION object has the same shape and is read by the same code. Nothing is guessed and nothing is passed
over: every mistake is one line with the key, the value and what would be right.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from quiethand.bow import fields as read
from quiethand.bow.consistency import consistent
from quiethand.bow.faces import FACES
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.bow.model import Archer, Arrow, Bow, EventInputs, Limit, SensorSetup, Setup, Target
from quiethand.bow.quantities import ACCELERATION, FORCE, FREQUENCY, LENGTH, MASS, RATE, TIME, shown
from quiethand.errors import InputError

__all__ = ["read_setup", "setup_from_document"]

LARGEST_BYTES: Final = 1_000_000  # a curve of 1000 points is some 30 kB


def _face(value: object, where: str) -> str:
    written = value.replace(" ", "") if isinstance(value, str) else value
    for name in FACES:
        if written == name.replace(" ", ""):
            return name
    return str(read.choice(*FACES)(value, where))


def _byte(value: object, where: str) -> int:
    do = "write a whole number from 0 to 255, as the device's EVENT has it"
    if not isinstance(value, int):
        raise InputError(f"{shown(value)} is not a whole number", where=where, do=do)
    return int(read.number(value, where, low=0, high=255, do=do))


def _per_count(value: object, where: str) -> float:
    return read.number(value, where, low=1e-9, high=10.0, do="write a plain number over 0, SI units per count")


# The bounds catch slips of unit and sign; they are far outside of anything that is shot.
# table: (its type, {key: (the field it fills, how it is read)})
TABLES: Final[Mapping[str, tuple[type, Mapping[str, tuple[str, read.Reader]]]]] = {
    "archer": (
        Archer,
        {"name": ("name", read.text), "handedness": ("handedness", read.choice("right", "left"))},
    ),
    "bow": (
        Bow,
        {
            "name": ("name", read.text),
            "kind": ("kind", read.choice("compound", "recurve")),
            "peak_weight": ("peak_weight_n", read.positive(FORCE, 1.0, 2000.0)),
            "let_off": ("let_off", read.fraction(0.99, "let-off")),
            "draw_length": ("draw_length_m", read.positive(LENGTH, 0.1, 2.0)),
            "brace_height": ("brace_height_m", read.positive(LENGTH, 0.01, 1.0)),
            "rest": ("rest_m", read.signed(LENGTH, 0.5)),
            "draw_force_curve": ("draw_force_curve", read.curve),
            "virtual_mass": ("virtual_mass_kg", read.positive(MASS, 0.0, 0.2)),
            "friction": ("friction", read.fraction(0.9, "friction")),
            "mass": ("mass_kg", read.positive(MASS, 0.05, 50.0)),
            "inertia": ("inertia_kg_m2", read.inertia),
        },
    ),
    "arrow": (
        Arrow,
        {
            "name": ("name", read.text),
            "mass": ("mass_kg", read.positive(MASS, 0.001, 0.2)),
            "length": ("length_m", read.positive(LENGTH, 0.1, 2.0)),
        },
    ),
    "sensor": (
        SensorSetup,
        {
            "lever_arm": ("lever_arm_m", read.vector(LENGTH, 3.0)),
            "mount": ("mount", read.mount),
            "gyro_bias": ("gyro_bias_rad_s", read.vector(RATE, 2.0)),
            "accel_offset": ("accel_offset_m_s2", read.vector(ACCELERATION, 50.0)),
            "accel_matrix": ("accel_matrix", read.matrix),
            "accel_range": ("accel_range_m_s2", read.positive(ACCELERATION, 1.0, 1e5)),
            "gyro_range": ("gyro_range_rad_s", read.positive(RATE, 0.1, 1e3)),
            "accel_delay": ("accel_delay_s", read.positive(TIME, 0.0, 0.1)),
            "gyro_delay": ("gyro_delay_s", read.positive(TIME, 0.0, 0.1)),
            "accel_bandwidth": ("accel_bandwidth_hz", read.positive(FREQUENCY, 1.0, 1e5)),
            "gyro_bandwidth": ("gyro_bandwidth_hz", read.positive(FREQUENCY, 1.0, 1e5)),
            "accel_scale": ("accel_scale", _per_count),
            "gyro_scale": ("gyro_scale", _per_count),
        },
    ),
    "target": (
        Target,
        {"face": ("face", _face), "distance": ("distance_m", read.positive(LENGTH, 0.5, 1000.0))},
    ),
    "events": (
        EventInputs,
        {
            "release_channel": ("release_channel", _byte),
            "release_value": ("release_value", _byte),
            "rest_channel": ("rest_channel", _byte),
            "rest_value": ("rest_value", _byte),
        },
    ),
}
TABLE_NAMES: Final = (*TABLES, "limits")


def read_setup(path: str | Path) -> Setup:
    """Read a set-up file.

    Raises:
        InputError: it is missing, a folder, too big, not TOML, or any of its values cannot be used.
    """
    path = Path(path)
    name = str(path)
    try:
        if path.is_dir():
            raise InputError("is a folder, not a set-up file", where=name, do="name the .toml file in it")
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError as gone:
        do = "check the name, or write one with 'quiethand setup --out FILE'"
        raise InputError("no such set-up file", where=name, do=do) from gone
    except (OSError, ValueError) as trouble:
        why = getattr(trouble, "strerror", None) or str(trouble)
        raise InputError(f"cannot be read ({why})", where=name, do="check the file and who may read it") from trouble
    if len(raw) > LARGEST_BYTES:
        raise InputError("is over 1 MB, too big for a set-up file", where=name, do="is it a recording?")
    do = "a set-up is TOML, as 'quiethand setup' writes it"
    try:
        document = tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as trouble:
        line = raw.count(b"\n", 0, trouble.start) + 1
        raise InputError(f"is not UTF-8 text (line {line})", where=name, do=do) from trouble
    except tomllib.TOMLDecodeError as trouble:
        raise InputError(f"is not TOML: {trouble}", where=name, do=do) from trouble
    except (RecursionError, ValueError) as trouble:  # nested without end, or a number of thousands of digits
        raise InputError("is not TOML that can be read", where=name, do=do) from trouble
    return setup_from_document(document, name)


def setup_from_document(document: Mapping[str, object], source: str, *, later_keys: bool = False) -> Setup:
    """Read the tables of a set-up, from a file or from a recording's SESSION object.

    Args:
        document: tables as written: quantities are text with a unit.
        source: what to call it in messages.
        later_keys: pass over unknown tables and keys with a note, as in a recording that a later version made.

    Raises:
        InputError: a value cannot be used, values contradict each other, or a key is unknown (unless `later_keys`).
    """
    notes: list[str] = []
    parts: dict[str, Any] = {}
    for name, table in document.items():
        if name not in TABLE_NAMES:
            _unknown(name, TABLE_NAMES, "table", source, notes if later_keys else None)
            continue
        if not isinstance(table, Mapping):
            do = f"write [{name}] on a line of its own and its keys below"
            raise InputError(f"{shown(table)} is not a table", where=f"{source}: {name}", do=do)
        if name == "limits":
            parts[name] = _limits(table, source, notes if later_keys else None)
            continue
        kind, keys = TABLES[name]
        values: dict[str, Any] = {}
        for key, value in table.items():
            where = f"{source}: {name}.{key}"
            if key not in keys:
                _unknown(key, keys, "key", f"{source}: {name}", notes if later_keys else None)
                continue
            attribute, reader = keys[key]
            values[attribute] = reader(value, where)
        parts[name] = kind(**values)
    setup = Setup(**parts, source=source, document=dict(document))
    return consistent(setup, tuple(notes))


def _limits(table: Mapping[str, object], source: str, notes: list[str] | None) -> dict[str, Limit]:
    limits: dict[str, Limit] = {}
    for key, value in table.items():
        if key not in LIMIT_MEASURES:
            _unknown(key, LIMIT_MEASURES, "measure", f"{source}: limits", notes)
            continue
        measure = LIMIT_MEASURES[key]
        si = read.positive(measure.dimension, 0.0, 1e6)(value, f"{source}: limits.{key}")
        limits[key] = Limit(si / measure.unit_si, measure.unit)
    return limits


def _unknown(
    key: object, known: Mapping[str, object] | tuple[str, ...], what: str, where: str, notes: list[str] | None
) -> None:
    if notes is not None:
        notes.append(f"{where}: unknown {what} {shown(key)} was passed over")
        return
    elsewhere = [table for table, (_, keys) in TABLES.items() if key in keys] if what == "key" else []
    near = difflib.get_close_matches(str(key), known, n=1, cutoff=0.5)
    if elsewhere:
        hint = f"it belongs in [{elsewhere[0]}]"
    else:
        hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(known)}"
    raise InputError(f"unknown {what} {shown(key)}", where=where, do=hint)
