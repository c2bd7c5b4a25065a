"""`quiethand check`: exit 0 whole, 3 damaged but read, 1 nothing in it, 2 cannot be read."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from host.motion.motion_streams import DESCRIPTION, blocks
from quiethand.commands.check import command
from quiethand_protocol import Gap, Header, encode

HEADER = encode(Header("2025-11-03T19:00:00Z", "test"))
D = encode(DESCRIPTION)
FRAMES = blocks(3.0)
NEVER_SENT = dataclasses.replace(DESCRIPTION, revision=4)
UNSCALED = blocks(0.5, index=3_000, ticks=3e6, description=NEVER_SENT)


def check(tmp_path: Path, *datas: bytes, json_format: bool = False) -> Result:
    names = []
    for number, data in enumerate(datas):
        path = tmp_path / f"{number}.qhr"
        path.write_bytes(data)
        names.append(str(path))
    return CliRunner().invoke(command, [*names, *(["--format", "json"] if json_format else [])])


WHOLE = HEADER + D + b"".join(FRAMES)
LOSSY = HEADER + D + b"".join(FRAMES[:100] + FRAMES[103:])


@pytest.mark.parametrize(
    ("data", "status", "says"),
    [
        (WHOLE, 0, "whole"),
        (WHOLE[30:], 0, "joined in mid-frame"),
        (HEADER, 1, "nothing in it"),
        (HEADER + D, 1, "nothing in it"),
        (HEADER[:9], 1, "nothing in it"),
        (LOSSY, 3, "30 samples lost at 1 place"),
        (WHOLE[:-5], 3, "1 bad frame"),
        (WHOLE + encode(Gap("unplugged")) + D + b"".join(FRAMES), 3, "unplugged"),
        (WHOLE + b"".join(UNSCALED), 3, "500 samples without a scale"),
        (b"", 2, "is empty"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 2, "not a recording"),
    ],
)  # fmt: skip
def test_exit_status(tmp_path: Path, data: bytes, status: int, says: str) -> None:
    result = check(tmp_path, data)
    assert result.exit_code == status
    assert says in result.output


def test_of_several_files_the_worst_counts_and_all_are_told(tmp_path: Path) -> None:
    assert check(tmp_path, WHOLE, LOSSY).exit_code == 3
    assert check(tmp_path, WHOLE, HEADER).exit_code == 1
    result = check(tmp_path, b"", WHOLE, LOSSY)
    assert result.exit_code == 2
    assert "is empty" in result.output
    assert "30 samples lost" in result.output


def test_json_says_what_is_missing_and_where(tmp_path: Path) -> None:
    result = check(tmp_path, LOSSY[:-5], json_format=True)
    said: dict[str, Any] = json.loads(result.stdout)
    assert said["state"] == "damaged"
    assert said["samples"] == 2_960
    assert said["lost_samples"] == 30
    offset = len(HEADER + D) + sum(map(len, FRAMES[:100]))
    assert said["missing"] == [
        {"time_s": pytest.approx(0.999, abs=1e-6), "offset": offset, "samples": 30, "segment": 0}
    ]
    assert said["damage"][0]["offset"] == len(LOSSY) - len(FRAMES[-1])
    assert said["damage"][0]["kind"] == "bad_frame"


def test_json_of_several_is_a_line_each(tmp_path: Path) -> None:
    lines = check(tmp_path, WHOLE, LOSSY, json_format=True).stdout.splitlines()
    assert [json.loads(line)["state"] for line in lines] == ["whole", "damaged"]
