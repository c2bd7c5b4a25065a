"""Reads the vectors that every implementation of the wire format is held to, and turns messages into plain fields."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import quiethand_protocol as qp

VECTORS = Path(qp.__file__).parent.parent / "vectors"


def vectors(name: str) -> list[dict[str, Any]]:
    """All vectors of one file."""
    return list(json.loads((VECTORS / f"{name}.json").read_text("utf-8"))["vectors"])


def by_name(vector: dict[str, Any]) -> str:
    """A vector's name, as pytest's test id."""
    return str(vector["name"])


def joined(pieces: list[dict[str, Any]]) -> bytes:
    """The bytes of a list of {"hex", "times"}."""
    return b"".join(bytes.fromhex(piece["hex"]) * piece["times"] for piece in pieces)


def message_of(plain: dict[str, Any]) -> qp.Message:
    """The message that a vector's fields describe."""
    values = {name: value for name, value in plain.items() if name != "type"}
    kind = {t.name: t for t in qp.MessageType}[plain["type"]]
    if "counts" in values:
        rows = values["counts"]
        values["counts"] = np.array(rows, np.int64) if rows else np.empty((0, 6), np.int64)
    for name in ("uid", "arguments", "data"):
        if name in values:
            values[name] = bytes.fromhex(values[name])
    cls = {name.upper(): getattr(qp, name) for name in qp.__all__}[kind.name]
    message: qp.Message = cls(**values)
    return message


def plain_of(message: qp.Message) -> dict[str, Any]:
    """A message's fields as a vector has them."""
    plain: dict[str, Any] = {"type": type(message).__name__.upper()}
    for field in fields(message):
        value = getattr(message, field.name)
        plain[field.name] = value.hex() if isinstance(value, bytes) else value
    if plain["type"] == "DESCRIPTION":
        del plain["version"]
    return plain


def plain_blocks(blocks: qp.Blocks) -> list[dict[str, Any]]:
    """Each block of a run as a vector has it, with its place."""
    edges = np.concatenate([[0], np.cumsum(blocks.count, dtype=np.int64)]).tolist()
    return [
        {
            "offset": int(blocks.offset[i]),
            "outcome": "message",
            "message": {
                "type": "SAMPLES",
                "index": int(blocks.index[i]),
                "ticks": int(blocks.ticks[i]),
                "status": int(blocks.status[i]),
                "temperature": int(blocks.temperature[i]),
                "counts": blocks.counts[edges[i] : edges[i + 1]].tolist(),
            },
        }
        for i in range(len(blocks))
    ]


def outcomes(items: list[qp.Item]) -> list[dict[str, Any]]:
    """Items as a vector's outcomes; neighbouring troubles of one kind are one, with `count` and `end`."""
    found: list[dict[str, Any]] = []
    for item in items:
        match item:
            case qp.Blocks():
                found += plain_blocks(item)
            case qp.Located():
                found.append({"offset": item.offset, "outcome": "message", "message": plain_of(item.message)})
            case qp.Trouble():
                found.append({"offset": item.offset, "outcome": item.kind, "end": item.end, "count": item.count})
    return merged(found)


def merged(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Outcomes with neighbouring troubles of one kind made one."""
    out: list[dict[str, Any]] = []
    for one in found:
        if out and "count" in one and out[-1]["outcome"] == one["outcome"]:
            out[-1] = out[-1] | {"end": one["end"], "count": out[-1]["count"] + one["count"]}
        else:
            out.append(one)
    return out


def expected(vector: dict[str, Any]) -> list[dict[str, Any]]:
    """A stream vector's outcomes in the same form."""
    found = []
    for one in vector["outcome"]:
        if one["outcome"] == "message":
            found.append({name: one[name] for name in ("offset", "outcome", "message")})
        else:
            end = one["offset"] + one["length"]
            found.append({"offset": one["offset"], "outcome": one["outcome"], "end": end, "count": 1})
    return merged(found)


def in_pieces(data: bytes, size: int) -> list[bytes]:
    """`data` cut into pieces of `size`."""
    return [data[at : at + size] for at in range(0, len(data), size)]


def read(source: Any, pieces: list[bytes]) -> list[qp.Item]:
    """All items of a stream fed in these pieces."""
    parser = qp.Parser(source)
    items = [item for piece in pieces for item in parser.feed(piece)]
    return items + parser.finish()
