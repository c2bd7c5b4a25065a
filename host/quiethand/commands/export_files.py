"""Columns to CSV, JSON and Parquet, page by page, so that however many rows take little memory.

What is not known is an empty field in CSV, null in JSON and Parquet. Yes and no are 1 and 0 in CSV; times are UTC.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, BinaryIO, Final, Literal

import numpy as np

from quiethand.errors import InputError

__all__ = ["FORMATS", "Columns", "Form", "Kind", "write_pages"]

Form = Literal["csv", "json", "parquet"]
Kind = Literal["float", "short", "integer", "boolean", "text", "time"]
Columns = Mapping[str, Sequence[Any] | np.ndarray[Any, Any]]

FORMATS: Final = ("csv", "json", "parquet")
# Significant digits: 0.1 us in an hour's recording, and finer than any sensor's count where a column is "short".
_DIGITS: Final = {"float": 12, "short": 9}


def write_pages(form: Form, kinds: Mapping[str, Kind], pages: Iterator[Columns], file: BinaryIO) -> None:
    """Write pages of columns (every page has all of `kinds`, as long as each other) as one table.

    Raises:
        InputError: Parquet's library is not installed.
    """
    {"csv": _write_csv, "json": _write_json, "parquet": _write_parquet}[form](kinds, pages, file)


def _plain(values: Sequence[Any] | np.ndarray[Any, Any]) -> list[Any]:
    return values.tolist() if isinstance(values, np.ndarray) else list(values)


def _write_csv(kinds: Mapping[str, Kind], pages: Iterator[Columns], file: BinaryIO) -> None:
    file.write((",".join(kinds) + "\n").encode())
    for page in pages:
        fields = [list(map(_CSV[kind], _plain(page[name]))) for name, kind in kinds.items()]
        file.write("".join([",".join(row) + "\n" for row in zip(*fields, strict=True)]).encode("utf-8", "replace"))


def _csv_number(digits: int) -> Callable[[float | None], str]:
    form = f"{{:.{digits}g}}".format
    return lambda value: "" if value is None or not math.isfinite(value) else form(value)


def _csv_text(value: str | None) -> str:
    if not value:
        return ""
    return '"' + value.replace('"', '""') + '"' if any(sign in value for sign in ',"\n\r;\t#') else value


def _iso(value: datetime | None) -> str | None:
    return None if value is None else value.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


_CSV: Final[Mapping[Kind, Callable[[Any], str]]] = {
    "float": _csv_number(_DIGITS["float"]),
    "short": _csv_number(_DIGITS["short"]),
    "integer": lambda value: "" if value is None else str(value),
    "boolean": lambda value: "1" if value else "0",
    "text": _csv_text,
    "time": lambda value: _iso(value) or "",
}


def _write_json(kinds: Mapping[str, Kind], pages: Iterator[Columns], file: BinaryIO) -> None:
    """An array of objects, one a line."""
    file.write(b"[")
    first = True
    for page in pages:
        values = [list(map(_JSON[kind], _plain(page[name]))) for name, kind in kinds.items()]
        for row in zip(*values, strict=True):
            line = json.dumps(dict(zip(kinds, row, strict=True)), allow_nan=False, ensure_ascii=False)
            file.write((("\n" if first else ",\n") + line).encode("utf-8", "replace"))
            first = False
    file.write(b"\n]\n")


def _json_number(digits: int) -> Callable[[float | None], float | None]:
    form = f"{{:.{digits}g}}".format
    return lambda value: None if value is None or not math.isfinite(value) else float(form(value))


_JSON: Final[Mapping[Kind, Callable[[Any], Any]]] = {
    "float": _json_number(_DIGITS["float"]),
    "short": _json_number(_DIGITS["short"]),
    "integer": lambda value: value,
    "boolean": bool,
    "text": lambda value: value or "",
    "time": _iso,
}


def _write_parquet(kinds: Mapping[str, Kind], pages: Iterator[Columns], file: BinaryIO) -> None:
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ModuleNotFoundError:
        raise InputError(
            "Parquet needs pyarrow, which is not installed",
            do="pip install 'quiethand[parquet]', or choose --format csv or json",
        ) from None
    from quiethand.analysis import software

    types: dict[Kind, Any] = {
        "float": pa.float64(), "short": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_(),
        "text": pa.string(), "time": pa.timestamp("us", tz="UTC"),
    }  # fmt: skip
    fields = [pa.field(name, types[kind]) for name, kind in kinds.items()]
    schema = pa.schema(fields, metadata={"software": software()})
    with parquet.ParquetWriter(file, schema) as writer:
        for page in pages:
            # from_pandas: what is not a number is not known, as everywhere
            arrays = [pa.array(page[field.name], field.type, from_pandas=True) for field in schema]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
