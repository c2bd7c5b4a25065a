"""`quiethand link` as a person runs it, over TCP, on a pty and where there is nothing."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from absent import need
from click.testing import CliRunner
from command_line import refused, run
from firmware_c.emulated import build_firmware, running
from quiethand.commands.link import command
from quiethand.errors import InputError
from quiethand.link import check_script

QUIETHAND = [sys.executable, "-c", "from quiethand.commands import main; main()"]


@contextmanager
def emulated(*options: str) -> Iterator[str]:
    device = subprocess.Popen(
        [*QUIETHAND, "emulate", *options], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert device.stdout is not None
    try:
        yield device.stdout.readline().strip()
    finally:
        device.terminate()
        device.wait(timeout=10)
        device.stdout.close()


def link(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*QUIETHAND, "link", *args], capture_output=True, text=True, check=False, timeout=90)


def check(port: str) -> subprocess.Popen[str]:
    """The verb, its stretch of streaming shortened unless QUIETHAND_CHECK_IN_FULL is set."""
    short = "" if os.environ.get("QUIETHAND_CHECK_IN_FULL") else "check_script.STREAM_S = 4.0;"
    code = f"from quiethand.link import check_script; {short} from quiethand.commands import main; main()"
    command = [sys.executable, "-c", code, "link", port, "--check", "--format", "json"]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def passed(checking: subprocess.Popen[str], untried: set[str]) -> None:
    said, _ = checking.communicate(timeout=120)
    told = json.loads(said)
    failing = [finding for finding in told["findings"] if finding["verdict"] == "fails"]
    assert failing == []
    assert checking.returncode == 0
    assert told["all_right"] is True
    assert {finding["name"] for finding in told["findings"] if finding["verdict"] == "not_seen"} <= untried
    assert told["counts"]["ok"] >= 35


@pytest.mark.skipif(os.name != "posix", reason="ptys are POSIX's")
def test_check_passes_the_sensor_in_software_and_the_emulated_firmware(tmp_path: Path) -> None:
    """Side by side, as each takes half a minute of waiting."""
    firmware = build_firmware(tmp_path)
    with emulated("--pty", "--rate", "4000") as port, running(firmware, "pty") as board:
        both = check(port), check(board)
        for checking in both:
            passed(checking, {"description_every_10_s"})


def test_health_over_tcp_is_one_report_when_piped() -> None:
    with emulated("--rate", "1000", "--lose", "0.05") as url:
        lossy = link(url, "--for", "1.5s")
    assert lossy.returncode == 1
    assert "samples were lost in the device" in lossy.stdout
    assert "1,000 Hz stated" in lossy.stdout
    assert "\x1b" not in lossy.stdout
    assert lossy.stderr == ""


@pytest.mark.skipif(os.name != "posix", reason="ptys are POSIX's")
def test_health_through_a_network_serial_server() -> None:
    """RFC 2217, by a server that many have on a small computer beside the range."""
    server = need("ser2net")
    with socket.create_server(("127.0.0.1", 0)) as probe:
        number = probe.getsockname()[1]
    with emulated("--pty", "--rate", "1000", "--still") as port:
        accepter = f"  accepter: telnet(rfc2217),tcp,127.0.0.1,{number}"
        lines = ["connection: &link", accepter, f"  connector: serialdev,{port},921600n81,local"]
        options = [part for line in lines for part in ("-Y", line)]
        serving = subprocess.Popen([server, "-n", "-c", os.devnull, *options], stderr=subprocess.DEVNULL)
        try:
            time.sleep(0.5)
            done = link(f"rfc2217://127.0.0.1:{number}?ign_set_control", "--for", "2s", "--format", "json")
        finally:
            serving.terminate()
            serving.wait(timeout=10)
    told = json.loads(done.stdout)
    assert told["lost_samples"] == told["bad_frames"] == 0
    assert told["samples"] > 1000
    assert told["rest"]["gravity_m_s2"] == pytest.approx(9.8, abs=0.5)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["/dev/no-such-port"], "no such port"),
        (["/dev/no-such-port", "--check"], "no such port"),
        (["socket://127.0.0.1:1", "--check"], "nothing listens there"),
        ([__file__], "is a file, not a device"),
        (["x", "--check", "--for", "3s"], "--check goes without"),
    ],
)
def test_nothing_there_is_one_line_and_exit_2(
    capsys: pytest.CaptureFixture[str], args: list[str], words: str
) -> None:  # fmt: skip
    assert words in refused(run(capsys, "link", *args))


@pytest.mark.skipif(not Path("/dev/ptmx").exists(), reason="ptys are POSIX's")
def test_a_port_that_says_nothing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    import tty

    monkeypatch.setattr(check_script, "_NO_ANSWER_AFTER_S", 0.6)  # 5 s in made time: test_nobody_there
    master, slave = os.openpty()
    tty.setraw(slave)
    try:
        done = CliRunner().invoke(command, [os.ttyname(slave), "--check"])
    finally:
        os.close(master)
        os.close(slave)
    assert isinstance(done.exception, InputError)  # which `main` makes one line and exit 2 of
    assert "no answer in 5 s" in str(done.exception)
