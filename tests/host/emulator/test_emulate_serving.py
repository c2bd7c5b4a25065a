"""The verb as a user has it: a process that prints an address, and pyserial at the other end."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest
import serial
from quiethand_protocol import Blocks, Command, CommandCode, Description, Located, Parser, Reply, encode

HELLO = encode(Command(1, CommandCode.DESCRIBE)) + encode(Command(2, CommandCode.START))
posix = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")


@contextmanager
def emulated(*options: str) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    words = [sys.executable, "-c", "from quiethand.commands import main; main()", "emulate", *options]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        yield process.stdout.readline().strip(), process
    finally:
        process.kill()
        process.communicate()


class Client:
    """Reads an address with pyserial and counts what comes."""

    def __init__(self, url: str) -> None:
        self.port = serial.serial_for_url(url, timeout=0.02)
        self.parser = Parser("device")
        self.said: list[object] = []
        self.samples = 0

    def read(self, seconds: float) -> None:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            for item in self.parser.feed(self.port.read(256)):
                if isinstance(item, Blocks):
                    self.samples += int(item.count.sum())
                elif isinstance(item, Located):
                    self.said.append(item.message)


@pytest.mark.parametrize("where", ["--tcp=0", pytest.param("--pty", marks=posix)])
def test_streams_to_a_client_that_leaves_and_comes_back(where: str) -> None:
    with emulated(where, "--rate", "1000", "--seed", "3") as (url, process):
        assert url.startswith("socket://127.0.0.1:" if "tcp" in where else "/dev/")
        first = Client(url)
        first.read(0.3)
        assert first.samples == 0, "silent until start"
        asked = time.monotonic()
        first.port.write(HELLO)
        while not [m for m in first.said if isinstance(m, Reply)]:
            first.read(0.02)
            assert time.monotonic() - asked < 5
        first.read(2.0)
        assert first.samples == pytest.approx(2000, rel=0.25)
        assert [m for m in first.said if isinstance(m, Description)]
        first.port.close()
        time.sleep(0.3)
        second = Client(url)
        second.read(1.0)
        assert second.samples > 500, "it went on streaming, as a sensor on a wire would"
        second.port.write(encode(Command(3, CommandCode.STOP)))
        second.read(0.4)
        stopped = second.samples
        second.read(0.4)
        assert second.samples == stopped
        second.port.close()
        process.send_signal(signal.SIGTERM)
        assert process.wait(5) == 0


@posix
def test_an_unplugged_pty_comes_back_under_the_same_name() -> None:
    with emulated("--pty", "--rate", "500", "--unplug-every", "1.0") as (url, process):
        boots = []
        for _ in range(2):
            for _ in range(100):
                if Path(url).exists():
                    break
                time.sleep(0.05)
            client = Client(url)
            client.port.write(HELLO)
            with pytest.raises((serial.SerialException, OSError)):
                client.read(5.0)
            boots.append(next(m.boot for m in client.said if isinstance(m, Description)))
            client.port.close()
        assert boots[1] > boots[0]
        process.terminate()
        assert process.wait(5) == 0
        assert not Path(url).parent.exists()


def test_is_cheap_and_quickens_time() -> None:
    """At 4 kHz in real time under 15 % of a core (some 5 % on a quiet machine); here at twice real time, twice that."""
    with emulated("--tcp", "0", "--rate", "4000", "--speed", "2") as (url, process):
        client = Client(url)
        client.port.write(HELLO)
        address = url.removeprefix("socket://").split(":")
        client.read(0.5)
        client.port.close()
        with socket.create_connection((address[0], int(address[1]))) as wire:
            used, begun, got = psutil.Process(process.pid).cpu_times(), time.monotonic(), 0
            while time.monotonic() - begun < 3.0:
                got += len(wire.recv(65536))
            now = psutil.Process(process.pid).cpu_times()
            span = time.monotonic() - begun
        share = (now.user + now.system - used.user - used.system) / span
        assert share < 2 * 0.15
        assert got / span == pytest.approx(2 * 4000 * 13, rel=0.2)


def test_truth_and_set_up_are_written_beside(tmp_path: Path) -> None:
    truth, setup = tmp_path / "truth.jsonl", tmp_path / "setup.toml"
    options = ("--tcp", "0", "--rate", "500", "--speed", "20", "--shots", "1", "--truth", str(truth))
    with emulated(*options, "--setup-out", str(setup)) as (url, _):
        client = Client(url)
        client.port.write(HELLO)
        client.read(1.5)
        client.port.close()
    lines = [json.loads(line) for line in truth.read_text().splitlines()]
    (shot,) = (line for line in lines if line["what"] == "shot")
    assert len(shot["rotation_deg"]) == 3
    assert abs(shot["unix_s"] - time.time()) < 60
    assert '[bow]\nname = "Club compound"' in setup.read_text()


def refused(*options: str) -> str:
    words = [sys.executable, "-c", "from quiethand.commands import main; main()", "emulate", *options]
    done = subprocess.run(words, capture_output=True, text=True, timeout=20, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    return done.stderr


def test_what_cannot_be_is_refused_in_one_line(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        port = taken.getsockname()[1]
        assert f"cannot listen on port {port}" in refused("--tcp", str(port))
    assert "exclude each other" in refused("--pty", "--tcp", "0")
    assert "rate_hz is 90000" in refused("--rate", "90000")
    kept = tmp_path / "setup.toml"
    kept.write_text("mine")
    assert "--force" in refused("--setup-out", str(kept))
    assert kept.read_text() == "mine"
