"""The example firmware in an emulated Cortex-M3: recorded as a user would, commands answered, a shot found, none lost.

The long run, from the top of the project (60 s at 4,000 samples a second):

    QUIETHAND_BOARD_SECONDS=60 python -m pytest tests/firmware_c/test_c_emulated_board.py -s
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest
import quiethand_protocol as qp
from firmware_c.emulated import build_firmware, connected, hear, running
from firmware_protocol.vector_files import outcomes

SECONDS = int(os.environ.get("QUIETHAND_BOARD_SECONDS", "6"))
TABLE_S = 32_015 / 4000  # one shot in each turn of the table, 3.9 s from its beginning


@pytest.fixture(scope="module")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_firmware(tmp_path_factory.mktemp("board"))


def quiethand(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "quiethand", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=SECONDS * 2 + 60, check=False)


def test_recorded_without_loss_and_its_shots_found(firmware: Path, tmp_path: Path) -> None:
    """Through a serial port of the operating system, a pty, as a user would."""
    recording = tmp_path / "board.qhr"
    with running(firmware, "pty") as port:
        done = quiethand("record", "--port", port, "--out", recording, "--for", f"{SECONDS}s")
    assert done.returncode == 0, done.stderr
    found = json.loads(quiethand("analyse", recording, "--format", "json").stdout)
    facts = found["recording"]
    print(
        f"{facts['samples']} samples at {facts['rate_hz']} Hz in {facts['duration_s']} s, {facts['lost_samples']} lost"
    )
    assert facts["rate_hz"] == pytest.approx(4000, rel=0.001)
    assert facts["samples"] >= 2000 * SECONDS
    assert facts["samples"] == pytest.approx(4000 * facts["duration_s"], abs=20)  # by the board's clock: all of them
    assert (facts["lost_samples"], facts["bad_frames"], facts["segments"], facts["clipped_samples"]) == (0, 0, 1, 0)
    releases = [shot["release_s"] for shot in found["shots"]]
    turns = int((facts["duration_s"] - 3.9 - 1.0) / TABLE_S) + 1
    assert releases == pytest.approx([3.9247 + TABLE_S * n for n in range(len(releases))], abs=0.02)
    assert turns <= len(releases) <= turns + 1
    assert quiethand("check", recording).returncode == 0


def test_commands_are_answered_in_time(firmware: Path) -> None:
    with running(firmware) as port, connected(port) as link:
        greeting = hear(link, 0.5)
        assert greeting[:1] == b"\0"
        assert [one["message"]["type"] for one in outcomes(qp.Parser("device").feed(greeting))] == ["DESCRIPTION"]
        parser = qp.Parser("device")
        commands = [
            (qp.Command(1, qp.CommandCode.DESCRIBE), qp.Result.OK),
            (qp.Command.set_rate(2, 2_000_000), qp.Result.OK),
            (qp.Command(3, qp.CommandCode.START), qp.Result.OK),
            (qp.Command.set_ranges(4, 65, 501), qp.Result.OK),
            (qp.Command.set_ranges(5, 30_000, 0), qp.Result.BAD_ARGUMENT),
            (qp.Command(6, qp.CommandCode.IDENTIFY), qp.Result.OK),
            (qp.Command(7, qp.CommandCode.CLOCK), qp.Result.OK),
            (qp.Command(8, 200), qp.Result.UNKNOWN_COMMAND),
            (qp.Command(9, qp.CommandCode.STOP), qp.Result.OK),
        ]
        seen = []
        for command, result in commands:
            sent = time.monotonic()
            link.sendall(b"rubbish\0" + qp.encode(command))
            while True:
                link.settimeout(0.2 - (time.monotonic() - sent))  # what is not answered by then raises
                new = outcomes(parser.feed(link.recv(65536)))
                seen += new
                replies = [one["message"] for one in new if one.get("message", {}).get("type") == "REPLY"]
                if replies:
                    assert [(r["request"], r["result"]) for r in replies] == [(command.request, result)]
                    break
        seen += outcomes(parser.feed(hear(link, 0.3)))
    messages = [one["message"] for one in seen]
    assert {one["outcome"] for one in seen} == {"message"}
    described = [m for m in messages if m["type"] == "DESCRIPTION"]
    assert [(m["revision"], m["rate_mhz"]) for m in described] == [(0, 4_000_000), (1, 2_000_000), (2, 2_000_000)]
    assert described[2]["accel_scale"] == pytest.approx(2 * described[1]["accel_scale"])
    blocks = [m for m in messages if m["type"] == "SAMPLES"]
    assert [b["index"] for b in blocks][:1] == [0]
    whole = [b["index"] - a["index"] == len(a["counts"]) for a, b in pairwise(blocks)]
    told = [b["status"] & qp.Status.LOST_BEFORE for b in blocks[1:]]  # what was missed while the range changed
    assert all(one or lost for one, lost in zip(whole, told, strict=True))
    assert whole.count(False) <= 1
