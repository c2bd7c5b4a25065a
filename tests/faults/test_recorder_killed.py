"""A recorder that is killed, told to stop, or started twice: nothing that reached the system is lost.

The long run, from the top of the project (some 2 minutes):

    QUIETHAND_KILLS=200 python -m pytest tests/faults/test_recorder_killed.py -s
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from faults.recorder_device import TcpDevice, device_bytes, undelimited
from quiethand.link.recording_header import header_object
from quiethand_protocol.items import Located
from quiethand_protocol.messages import Clock
from quiethand_protocol.parser import Parser

KILLS = int(os.environ.get("QUIETHAND_KILLS", "10"))  # 200 in the long run
RECORD = [sys.executable, "-c", "from quiethand.commands import main; main()", "record"]


@pytest.fixture
def device() -> Iterator[TcpDevice]:
    made = TcpDevice()
    yield made
    made.close()


def start(device: TcpDevice, out: Path, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*RECORD, "--port", device.url, "--out", str(out), *more], stderr=subprocess.PIPE, text=True
    )


def wait_for_stream(recorder: subprocess.Popen[str], device: TcpDevice, connection: int, seconds: float) -> None:
    """Until the device has streamed for so long on its connection of this number."""
    until = time.monotonic() + 20
    while time.monotonic() < until:
        if len(device.sent) > connection and device.streaming_since[connection] is not None:
            time.sleep(seconds)
            return
        if recorder.poll() is not None:
            raise AssertionError(f"the recorder ended: {recorder.communicate()[1]}")
        time.sleep(0.01)
    raise AssertionError("the recorder never started the device")


def test_kill_9_at_random_moments_loses_nothing(device: TcpDevice, tmp_path: Path) -> None:
    seed = 20260109
    random = Random(seed)
    print(f"{KILLS} kills, seed {seed}")
    for number in range(KILLS):
        out = tmp_path / f"{number}.qhr"
        recorder = start(device, out, "--quiet")
        wait_for_stream(recorder, device, number, random.uniform(0.0, 0.3))
        recorder.kill()
        killed = time.monotonic()
        recorder.communicate()
        while device.sent_at[-1][0] > time.monotonic() - 0.05 and len(device.sent) == number + 1:
            time.sleep(0.02)  # until the device has noticed
        file = out.read_bytes()
        assert header_object(file) is not None
        parser = Parser("recording")
        parser.feed(file)
        parser.finish()
        assert parser.bad_frames <= 1  # the torn tail
        kept, sent = device_bytes(file), undelimited(device.sent[number])
        assert sent.startswith(kept)
        # What was sent 0.1 s before the kill had been read by then: it is all there.
        before = sum(map(len, device.sent[:number]))
        early = max((total - before for at, total in device.sent_at if at < killed - 0.1), default=0)
        assert len(kept) >= len(undelimited(device.sent[number][: max(early, 0)]))
    refused = subprocess.run(
        [*RECORD, "--port", device.url, "--out", str(out)], capture_output=True, text=True, check=False
    )
    assert refused.returncode == 2
    assert "exists" in refused.stderr
    assert out.read_bytes() == file


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_signals_end_it_cleanly(device: TcpDevice, tmp_path: Path, number: signal.Signals) -> None:
    out = tmp_path / "one.qhr"
    recorder = start(device, out)
    wait_for_stream(recorder, device, 0, 0.2)
    recorder.send_signal(number)
    _, told = recorder.communicate(timeout=10)
    assert recorder.returncode == 0
    assert "none lost" in told
    assert undelimited(device.sent[0]) == device_bytes(out.read_bytes())
    parser = Parser("recording")
    items = parser.feed(out.read_bytes()) + parser.finish()
    assert parser.bad_frames == 0
    assert any(isinstance(i, Located) and isinstance(i.message, Clock) for i in items)


def test_for_so_long_from_the_first_sample(device: TcpDevice, tmp_path: Path) -> None:
    recorder = start(device, tmp_path / "one.qhr", "--for", "1s")
    recorder.communicate(timeout=10)
    assert recorder.returncode == 0
    parser = Parser("recording")
    parser.feed((tmp_path / "one.qhr").read_bytes())
    assert 1900 <= parser.samples <= 2600


def test_two_recorders_on_one_port_or_file_refuse(device: TcpDevice, tmp_path: Path) -> None:
    other = TcpDevice()
    first = start(device, tmp_path / "one.qhr", "--quiet")
    wait_for_stream(first, device, 0, 0.1)
    same_port = start(device, tmp_path / "two.qhr")
    assert "another recorder has this port" in same_port.communicate(timeout=10)[1]
    assert same_port.returncode == 2
    assert not (tmp_path / "two.qhr").exists()
    same_file = start(other, tmp_path / "one.qhr", "--force")
    assert "another recorder is writing this file" in same_file.communicate(timeout=10)[1]
    assert same_file.returncode == 2
    first.terminate()
    first.communicate(timeout=10)
    other.close()
    assert undelimited(device.sent[0]) == device_bytes((tmp_path / "one.qhr").read_bytes())
