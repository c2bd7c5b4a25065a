"""The README is the wire format's home: its worked example, its list of vectors and its Python hold."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import quiethand_protocol as qp
from firmware_protocol.slow_stream import cobs_decode
from firmware_protocol.vector_files import VECTORS, vectors

README = (VECTORS.parent / "README.md").read_text("utf-8")

EXAMPLES: dict[str, qp.Message] = {
    "COMMAND": qp.Command(7, qp.CommandCode.DESCRIBE),
    "DESCRIPTION": qp.Description(
        uid=bytes(range(1, 9)),
        tick_hz=1_000_000,
        rate_mhz=1_000_000,
        accel_scale=0.0048828125,
        gyro_scale=0.0009765625,
        accel_clip=32767,
        gyro_clip=32767,
        accel_delay_us=500,
        gyro_delay_us=800,
        accel_bandwidth_hz=400,
        gyro_bandwidth_hz=350,
        boot=1,
        firmware="demo 1",
        sensor="imu",
    ),
    "SAMPLES": qp.Samples(20, 20_999, np.array([[2, -1, 2008, 0, 3, -512]], np.int16), qp.status_byte(0, 0, 1), 2150),
}


PUBLIC = {
    "BadRunError",
    "Blocks",
    "Clock",
    "Command",
    "CommandCode",
    "Description",
    "Event",
    "Gap",
    "Header",
    "Health",
    "Item",
    "Located",
    "Log",
    "Message",
    "MessageType",
    "ModeDetector",
    "Note",
    "Parser",
    "RUN_LIMIT_LIVE",
    "RUN_LIMIT_RECORDING",
    "Reply",
    "Result",
    "Samples",
    "Session",
    "Status",
    "Text",
    "TextBlock",
    "TextItem",
    "TextParser",
    "TextUnits",
    "Trouble",
    "UNKNOWN_DELAY_US",
    "UNKNOWN_TEMPERATURE",
    "decode_run",
    "encode",
    "encode_frame",
    "merge_items",
    "merge_text_items",
    "status_byte",
}


def example(name: str) -> tuple[bytes, str]:
    """A frame of the worked example, and the text behind it up to the next one."""
    match = re.search(rf"```hex {name}\n(.*?)```(.*?)(?=```|\n## )", README, re.DOTALL)
    assert match is not None
    return bytes.fromhex(match[1]), match[2]


@pytest.mark.parametrize("name", EXAMPLES)
def test_worked_example(name: str) -> None:
    frame, _ = example(name)
    assert qp.encode(EXAMPLES[name]) == frame


@pytest.mark.parametrize("name", ["DESCRIPTION", "SAMPLES"])
def test_worked_example_byte_by_byte(name: str) -> None:
    """The table behind a frame, read downward, is the frame's body."""
    frame, behind = example(name)
    cells = re.findall(r"^\| ([0-9A-F]{2}[0-9A-F ,]*) \|", behind, re.MULTILINE)
    assert bytes.fromhex("".join(cells).replace(",", "")) == cobs_decode(frame[:-1])


def test_every_vector_that_is_named_exists() -> None:
    settled = README[README.index("## Points settled") : README.index("## Vectors")]
    cells = [row.split("|")[3] for row in settled.splitlines() if row.startswith("| ")][1:]
    named = {name for cell in cells for name in re.findall(r"`([a-z0-9_*]+)`", cell, re.IGNORECASE)}
    known = {v["name"] for path in VECTORS.glob("*.json") for v in vectors(path.stem)}
    missing = {
        name
        for name in named
        if not any(re.fullmatch(re.escape(name).replace(r"\*", "[a-z]+"), other) for other in known)
    }
    assert len(named) > 40
    assert missing == set()


def test_names_of_vectors_are_unique() -> None:
    for path in VECTORS.glob("*.json"):
        names = [v["name"] for v in vectors(path.stem)]
        assert len(names) == len(set(names))


def test_ten_lines_that_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code = re.search(r"```python\n(.*?)```", README, re.DOTALL)
    assert code is not None
    frames = [qp.Header("2026-01-10T18:30:00Z", "quiethand"), EXAMPLES["DESCRIPTION"], EXAMPLES["SAMPLES"]]
    (tmp_path / "evening.qhr").write_bytes(b"".join(map(qp.encode, frames)) + b"\x05torn")
    monkeypatch.chdir(tmp_path)
    exec(code[1], {})
    printed = capsys.readouterr().out
    assert "20 (1, 6)" in printed
    assert "demo 1" in printed
    assert "the last run has no delimiter" in printed
    assert printed.rstrip().endswith("1 0")


def test_public_names() -> None:
    """What others may import; a name that goes or comes is a decision."""
    assert set(qp.__all__) == PUBLIC
    assert all(hasattr(qp, name) for name in qp.__all__)
