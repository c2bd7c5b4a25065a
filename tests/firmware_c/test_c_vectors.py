"""The C side against every vector that a device writes or hears, by name, in every way of building it."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import pytest
import quiethand_protocol as qp
from absent import need
from firmware_c.c_side import (
    HERE,
    SANITIZED,
    SOURCES,
    ask,
    build,
    heard_by_c,
    heard_by_python,
    line_of,
    parse_line,
)
from firmware_protocol.vector_files import by_name, expected, joined, merged, message_of, vectors

DEVICE_TYPES = {"DESCRIPTION", "SAMPLES", "LOG", "REPLY", "HEALTH", "EVENT"}
SENT = [v for v in vectors("messages") if v["message"]["type"] in DEVICE_TYPES]
COMMANDS = [v for v in vectors("messages") if v["message"]["type"] == "COMMAND"]
REFUSED = [v for v in vectors("refused") if v["message"]["type"] in DEVICE_TYPES]


@pytest.fixture(scope="session")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The harness under the address and undefined-behaviour sanitizers."""
    return build(tmp_path_factory.mktemp("c") / "harness", [*SOURCES, HERE / "harness.c"], SANITIZED)


@pytest.mark.parametrize("vector", [v for v in SENT if v["canonical"]], ids=by_name)
def test_c_writes(program: Path, vector: dict[str, Any]) -> None:
    assert ask([program], [line_of(message_of(vector["message"]))]) == [vector["frame"]]


@pytest.mark.parametrize("vector", REFUSED, ids=by_name)
def test_c_refuses(program: Path, vector: dict[str, Any]) -> None:
    """What C's types can say at all, it refuses; the others cannot be said."""
    try:
        line = line_of(message_of(vector["message"]))
    except (struct.error, ValueError):
        assert any(word in vector["name"] for word in ("uid", "_bit", "axes", "negative", "256"))
        return
    assert ask([program], [line]) == ["error -2"]


@pytest.mark.parametrize("vector", COMMANDS, ids=by_name)
def test_c_hears(program: Path, vector: dict[str, Any]) -> None:
    frame = bytes.fromhex(vector["frame"])
    only = {"offset": 0, "outcome": "message", "message": vector["message"]}
    again = only | {"offset": len(frame)}
    alone, followed = ask([program], [parse_line(frame), parse_line(frame + frame + b"\x09rubbish")])
    assert heard_by_c(alone) == [only]
    assert heard_by_c(followed) == [only, again]


@pytest.mark.parametrize("vector", vectors("streams"), ids=by_name)
def test_c_judges_runs(program: Path, vector: dict[str, Any]) -> None:
    """Every stream there is, towards a device: most are no commands, and both sides say so of the same bytes."""
    data = joined(vector["bytes"])
    (answer,) = ask([program], [parse_line(data)])
    assert heard_by_c(answer) == heard_by_python(data)
    if vector["source"] == "host":
        ended = [one for one in expected(vector) if one.get("end", 0) <= data.rfind(b"\0") + 1]
        assert heard_by_c(answer) == merged(ended)


def test_a_block_cut_short_is_bad_even_if_its_crc_holds(program: Path) -> None:
    """The only code byte says that one byte more was to come."""
    frame = bytearray(qp.encode(qp.Command(7, qp.CommandCode.CLOCK)))
    assert frame.find(0) == len(frame) - 1 == frame[0]
    frame[0] += 1
    (answer,) = ask([program], [parse_line(b"\0" + bytes(frame))])
    assert [one["outcome"] for one in heard_by_c(answer)] == ["bad_frame"]


def everything() -> list[str]:
    """A line for each vector that C can write, refuse or hear."""
    lines = [line_of(message_of(v["message"])) for v in SENT if v["canonical"]]
    return lines + [parse_line(joined(v["bytes"])) for v in vectors("streams")]


@pytest.mark.parametrize(
    ("compiler", "flags"),
    [
        ("gcc", ["-O2"]),
        ("gcc", ["-Os", "-funsigned-char", "-DQH_BLOCK_SAMPLES=32"]),
        ("gcc", ["-O3", "-fshort-enums"]),
        ("g++", ["-O2"]),
        ("clang", ["-O2"]),
    ],
    ids=["gcc", "small", "quick", "as C++", "clang"],
)
def test_any_build_gives_the_same(program: Path, tmp_path: Path, compiler: str, flags: list[str]) -> None:
    other = build(tmp_path / "harness", [*SOURCES, HERE / "harness.c"], flags, compiler)
    assert ask([other], everything()) == ask([program], everything())


def test_valgrind_finds_nothing(tmp_path: Path, program: Path) -> None:
    """Reads of memory that was never written are what the sanitizers do not see."""
    plain = build(tmp_path / "harness", [*SOURCES, HERE / "harness.c"], ["-g", "-O1"])
    watched = [need("valgrind"), "--quiet", "--error-exitcode=9", "--leak-check=full", plain]
    lines = [line for line in everything() if len(line) < 20_000]
    assert ask(watched, lines) == ask([program], lines)
