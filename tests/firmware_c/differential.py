"""Python and C side by side on random messages and on mutated bytes: they agree on all, or this says where they part.

The long run, from the top of the project:

    PYTHONPATH=tests python -m firmware_c.differential --messages 1000000 --mutated 1000000
"""

from __future__ import annotations

import argparse
import resource
import secrets
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import quiethand_protocol as qp
from firmware_c.c_side import HERE, SANITIZED, SOURCES, ask, build, heard_by_c, heard_by_python, line_of, parse_line
from firmware_protocol.vector_files import outcomes, plain_of

BATCH = 20_000


def _text(rng: np.random.Generator, most: int) -> str:
    """Letters of one to four bytes each, zeros among them, at most `most` bytes."""
    letters = rng.choice(["a", "Z", "0", " ", "\0", "é", "µ", "√", "\U0001f3af"], int(rng.integers(0, most + 1)))
    text = "".join(letters.tolist())
    while len(text.encode()) > most:
        text = text[: len(text) // 2]
    return text


def _u(rng: np.random.Generator, bits: int) -> int:
    """Any value, with the ends and small ones more often than chance has them."""
    sort = rng.integers(0, 4)
    if sort == 0:
        return int(rng.choice([0, 1, 2**bits - 1, 2 ** (bits - 1)]))
    return int(rng.integers(0, 2 ** int(rng.integers(1, bits + 1))))


def _scale(rng: np.random.Generator) -> float:
    return float(np.uint32(rng.integers(1, 0x7F800000)).view(np.float32))


def _description(rng: np.random.Generator) -> qp.Description:
    return qp.Description(
        rng.bytes(8),
        int(rng.integers(1, 50_000_001)),
        max(1, _u(rng, 32)),
        _scale(rng),
        _scale(rng),
        *(_u(rng, 16) for _ in range(6)),
        _u(rng, 32),
        _u(rng, 8),
        _text(rng, 64),
        _text(rng, 64),
    )


def _samples(rng: np.random.Generator) -> qp.Samples:
    shape = (int(rng.integers(1, 33)), 6)
    counts = rng.integers(-32768, 32768, shape) >> int(rng.integers(0, 16))  # shifted far: many zero bytes
    temperature = _u(rng, 16) - 32768
    return qp.Samples(_u(rng, 32), _u(rng, 32), counts.astype(np.int16), _u(rng, 8), temperature)


def random_message(rng: np.random.Generator) -> qp.Message:
    """A message that a device may send."""
    makers: list[Callable[[], qp.Message]] = [
        lambda: _description(rng),
        lambda: _samples(rng),
        lambda: qp.Log(_u(rng, 8), _text(rng, 506 if rng.integers(0, 8) == 0 else 40)),
        lambda: qp.Reply(_u(rng, 8), _u(rng, 8), _u(rng, 8), _u(rng, 32)),
        lambda: qp.Health(_u(rng, 32), _u(rng, 32), _u(rng, 16)),
        lambda: qp.Event(_u(rng, 32), _u(rng, 8), _u(rng, 8)),
    ]
    return makers[int(rng.integers(0, len(makers)))]()


def _command(rng: np.random.Generator) -> bytes:
    body = bytes([0x41]) + rng.bytes(int(rng.integers(0, 9)))
    if rng.integers(0, 12) == 0:
        body += rng.bytes(int(rng.integers(40, 70)))
    return body[:60]


def _frame(rng: np.random.Generator) -> bytes:
    """A frame towards a device, nearly always one whose CRC holds."""
    sort = int(rng.integers(0, 10))
    if sort == 0:
        return qp.encode(random_message(rng))
    if sort == 1:
        return qp.encode_frame(rng.bytes(int(rng.integers(1, 508))).replace(b"\x41", b"\x85", 1) or b"\1")
    if sort == 2:  # one byte of the body is other than it was, and the CRC is right again
        body = bytearray(_command(rng))
        body[int(rng.integers(0, len(body)))] = int(rng.integers(0, 256))
        return qp.encode_frame(bytes(body))
    return qp.encode_frame(_command(rng))


def mutated(rng: np.random.Generator) -> bytes:
    """Some frames in a row, in which up to four things went wrong."""
    data = bytearray(b"".join(_frame(rng) for _ in range(int(rng.integers(1, 5)))))
    for _ in range(int(rng.integers(0, 5))):
        at = int(rng.integers(0, len(data) + 1))
        kind = int(rng.integers(0, 7))
        if kind == 0 and at < len(data):
            data[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            del data[at : at + int(rng.integers(1, 6))]
        elif kind == 2:
            data[at:at] = rng.bytes(int(rng.integers(1, 6)))
        elif kind == 3:
            data[at:at] = data[at : at + int(rng.integers(1, 40))]
        elif kind == 4:
            data[at:at] = b"\0"
        elif kind == 5 and rng.integers(0, 10) == 0:
            data[at:at] = rng.bytes(int(rng.integers(500, 530))).replace(b"\0", b"\1")
        elif kind == 6:
            del data[at:]
    return bytes(data) or b"\0"


def compare_messages(program: Path, rng: np.random.Generator, count: int) -> None:
    """C writes what Python writes, and Python reads from it what was meant."""
    messages = [random_message(rng) for _ in range(count)]
    frames = ask([program], map(line_of, messages))
    for message, frame in zip(messages, frames, strict=True):
        assert frame == qp.encode(message).hex(), message
    items = qp.Parser("device").feed(bytes.fromhex("".join(frames)))
    read = [one["message"] for one in outcomes(items)]
    for message, plain in zip(messages, read, strict=True):
        assert plain == _plain(message), message


def _plain(message: qp.Message) -> dict[str, object]:
    if isinstance(message, qp.Samples):
        plain = plain_of(message)
        return plain | {"counts": message.counts.tolist()}
    return plain_of(message)


def compare_mutated(program: Path, rng: np.random.Generator, count: int) -> dict[str, int]:
    """C hears what Python hears. Returns how many of each outcome there were."""
    strings = [mutated(rng) for _ in range(count)]
    seen: dict[str, int] = {}
    for data, answer in zip(strings, ask([program], map(parse_line, strings)), strict=True):
        wanted = heard_by_python(data)
        assert heard_by_c(answer) == wanted, data.hex()
        for one in wanted:
            seen[one["outcome"]] = seen.get(one["outcome"], 0) + one.get("count", 1)
    return seen


def run(program: Path, messages: int, strings: int, seed: int) -> dict[str, int]:
    """All of it in batches, one seed for each, so that a failing batch can be run alone."""
    seen: dict[str, int] = {}
    for n, start in enumerate(range(0, messages, BATCH)):
        compare_messages(program, np.random.default_rng([seed, 0, n]), min(BATCH, messages - start))
    for n, start in enumerate(range(0, strings, BATCH)):
        batch = compare_mutated(program, np.random.default_rng([seed, 1, n]), min(BATCH, strings - start))
        seen = {name: seen.get(name, 0) + batch.get(name, 0) for name in seen | batch}
    return seen


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--messages", type=int, default=1_000_000)
    options.add_argument("--mutated", type=int, default=1_000_000)
    options.add_argument("--seed", type=int, default=secrets.randbits(32))
    asked = options.parse_args()
    print(f"seed {asked.seed}", flush=True)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        program = build(Path(folder) / "harness", [*SOURCES, HERE / "harness.c"], SANITIZED)
        seen = run(program, asked.messages, asked.mutated, asked.seed)
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
    print(f"{asked.messages} messages and {asked.mutated} mutated strings agree, {time.monotonic() - began:.0f} s")
    print(f"runs heard: {seen}; the harness's memory at most {most} MB")


if __name__ == "__main__":
    main()
