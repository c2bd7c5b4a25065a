"""The plug is pulled at random bytes and put back: every byte before is kept, the gap is marked, recording goes on."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from faults.recorder_device import PtyDevice, Streamer, TcpDevice, cut_at_random, device_bytes, undelimited
from quiethand.link.record_loop import record_loop
from quiethand.link.recorder import Recorder
from quiethand.link.recording_file import RecordingFile
from quiethand.link.serial_port import open_link
from quiethand_protocol.items import Blocks, Located
from quiethand_protocol.messages import Gap
from quiethand_protocol.parser import Parser

CYCLES = int(os.environ.get("QUIETHAND_CYCLES", "6"))  # 1,000 in the long run
SEED = 471


def record_while(url: str, out: Path, body: Callable[[], None]) -> None:
    """Run the recorder in a thread while `body` plays the device."""
    done = threading.Event()
    wrong: list[BaseException] = []
    recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="unplugged")

    def run() -> None:
        try:
            record_loop(
                recorder,
                open_link(url),
                RecordingFile(out),
                url=url,
                baud=921_600,
                enough=lambda _progress: done.is_set(),
                show=lambda _progress: None,
            )
        except BaseException as error:
            wrong.append(error)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        body()
    finally:
        done.set()
        thread.join(timeout=10)
    assert not thread.is_alive()
    assert wrong == []


def judge(device: Streamer, out: Path, gaps: int) -> None:
    file = out.read_bytes()
    assert device_bytes(file) == b"".join(undelimited(sent) for sent in device.sent)
    parser = Parser("recording")
    items = parser.feed(file) + parser.finish()
    assert sum(isinstance(i, Located) and isinstance(i.message, Gap) for i in items) == gaps
    assert parser.bad_frames <= gaps  # at most the frame that each pull cut
    numbers = [int(block) for i in items if isinstance(i, Blocks) for block in i.counts[::20, 0]]
    assert numbers == sorted(set(numbers))  # none invented, none twice
    assert len(numbers) >= device.block - gaps


def test_tcp_cut_and_back(tmp_path: Path) -> None:
    print(f"{CYCLES} cuts, seed {SEED}")
    device = TcpDevice(cut_at_random(Random(SEED), 200, 6000))

    def body() -> None:
        until = time.monotonic() + 30 + CYCLES
        while len(device.sent) <= CYCLES and time.monotonic() < until:
            time.sleep(0.02)
        device.close()
        time.sleep(0.3)

    record_while(device.url, tmp_path / "cut.qhr", body)
    assert len(device.sent) > CYCLES  # every cut asked for was made within the time
    judge(device, tmp_path / "cut.qhr", len(device.sent))


@pytest.mark.skipif(sys.platform == "win32", reason="ptys are POSIX's")
def test_serial_port_unplugged_and_back(tmp_path: Path) -> None:
    print(f"{CYCLES} cycles, seed {SEED}")
    random = Random(SEED)
    port = tmp_path / "port"
    device = PtyDevice(port)
    back: list[float] = []

    def cycles() -> None:
        for _ in range(CYCLES):
            limit = random.randint(200, 6000)
            appeared = time.monotonic()
            device.plug(lambda sent, limit=limit, since=appeared: sent >= limit or time.monotonic() - since > 5)  # type: ignore[misc]
            since = device.streaming_since[-1]
            back.append(float("inf") if since is None else since - appeared)
            time.sleep(random.uniform(0.0, 0.2))

    player = threading.Thread(target=cycles)
    player.start()
    while not port.exists():
        time.sleep(0.001)

    def body() -> None:
        player.join()
        time.sleep(0.3)

    record_while(str(port), tmp_path / "unplugged.qhr", body)
    judge(device, tmp_path / "unplugged.qhr", CYCLES)
    print(f"back after at most {max(back[1:]):.2f} s")
    assert max(back) < 2.0
