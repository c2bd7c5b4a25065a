"""Builds the C side for a test and talks to its harness: one line for each message or string of bytes."""

from __future__ import annotations

import os
import struct
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import quiethand_protocol as qp
from absent import need
from firmware_protocol.vector_files import merged, outcomes

HERE = Path(__file__).parent
C = Path(qp.__file__).parent.parent / "c"
EXAMPLES = C.parent / "examples"
SOURCES = [C / f"{name}.c" for name in ("qh_wire", "qh_command", "qh_choose", "qh_send", "qh_device")]
STRICT = ["-Wall", "-Wextra", "-Wpedantic", "-Werror", "-Wconversion"]
SANITIZED = ["-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"]


def build(out: Path, sources: Sequence[Path], flags: Sequence[str], compiler: str = "gcc") -> Path:
    """A program from C sources; as C++ where the compiler is one. What it was built with stands in `flags`."""
    language = ["-x", "c++", "-std=c++11"] if "++" in compiler else ["-std=c99"]
    command = [need(compiler), *language, *STRICT, *flags, f"-I{C}", f"-I{EXAMPLES}", *map(str, sources)]
    done = subprocess.run([*command, "-o", str(out)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return out


def ask(program: Sequence[str | Path], lines: Iterable[str]) -> list[str]:
    """The answers of the harness, one for each line."""
    asked = list(lines)
    done = subprocess.run(
        [*map(str, program)],
        input="".join(line + "\n" for line in asked),
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"UBSAN_OPTIONS": "print_stacktrace=1"},
    )
    assert done.returncode == 0, done.stderr
    answers = done.stdout.splitlines()
    assert len(answers) == len(asked)
    return answers


def _hex(data: bytes) -> str:
    return data.hex() or "-"


def _bits(value: float) -> int:
    """As C would turn a double into its float: out of range becomes infinite, too small becomes 0."""
    with np.errstate(over="ignore", under="ignore"):
        return int(np.float32(value).view(np.uint32))


def line_of(message: qp.Message) -> str:
    """A device's message as the harness reads it.

    Raises:
        struct.error, ValueError: C's types cannot hold a field, so there is nothing to refuse.
    """
    match message:
        case qp.Description():
            struct.pack(
                "<8sIIHHHHHHIB",
                message.uid,
                message.tick_hz,
                message.rate_mhz,
                message.accel_clip,
                message.gyro_clip,
                message.accel_delay_us,
                message.gyro_delay_us,
                message.accel_bandwidth_hz,
                message.gyro_bandwidth_hz,
                message.boot,
                message.revision,
            )
            if len(message.uid) != 8:
                raise ValueError("a uid has 8 bytes in C's struct")
            numbers = [
                message.tick_hz,
                message.rate_mhz,
                _bits(message.accel_scale),
                _bits(message.gyro_scale),
                message.accel_clip,
                message.gyro_clip,
                message.accel_delay_us,
                message.gyro_delay_us,
                message.accel_bandwidth_hz,
                message.gyro_bandwidth_hz,
                message.boot,
                message.revision,
            ]
            texts = _hex(message.firmware.encode()), _hex(message.sensor.encode())
            return " ".join(["D", message.uid.hex(), *map(str, numbers), *texts])
        case qp.Samples():
            if message.counts.ndim != 2 or message.counts.shape[1] != 6:
                raise ValueError("a sample has 6 axes in C's struct")
            if len(message.counts) and not -32768 <= message.counts.min() <= message.counts.max() <= 32767:
                raise ValueError("counts have 16 bits in C's struct")
            struct.pack("<IIBh", message.index, message.ticks, message.status, message.temperature)
            counts = _hex(message.counts.astype("<i2").tobytes())
            return f"S {message.index} {message.ticks} {message.status} {message.temperature} {counts}"
        case qp.Log():
            struct.pack("<B", message.level)
            return f"L {message.level} {_hex(message.text.encode())}"
        case qp.Reply():
            struct.pack("<BBBI", message.request, message.command, message.result, message.ticks)
            return f"R {message.request} {message.command} {message.result} {message.ticks}"
        case qp.Health():
            struct.pack("<IIH", message.samples, message.lost, message.supply_mv)
            return f"H {message.samples} {message.lost} {message.supply_mv}"
        case qp.Event():
            struct.pack("<IBB", message.ticks, message.channel, message.value)
            return f"E {message.ticks} {message.channel} {message.value}"
    raise TypeError(f"a device sends no {type(message).__name__}")


def heard_by_c(answer: str) -> list[dict[str, Any]]:
    """The harness's answer to a `P` line, in the form of `outcomes`."""
    found: list[dict[str, Any]] = []
    for one in answer.split() if answer != "-" else []:
        offset, outcome, end, *command = one.split(":")
        if outcome == "message":
            message = {
                "type": "COMMAND",
                "request": int(command[0]),
                "command": int(command[1]),
                "arguments": command[2],
            }
            found.append({"offset": int(offset), "outcome": outcome, "message": message})
        else:
            found.append({"offset": int(offset), "outcome": outcome, "end": int(end), "count": 1})
    return merged(found)


def heard_by_python(data: bytes) -> list[dict[str, Any]]:
    """What Python's parser, as a device's ear, makes of bytes; a run that has not ended says nothing yet."""
    return outcomes(qp.Parser("host").feed(data))


def parse_line(data: bytes) -> str:
    """A string of bytes as the harness reads it."""
    return f"P {_hex(data)}"
