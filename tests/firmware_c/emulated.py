"""The example firmware in an emulated microcontroller, its serial port on a TCP port of this machine."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from absent import need
from firmware_c.c_side import EXAMPLES


def build_firmware(folder: Path) -> Path:
    """firmware.elf for Arm's MPS2 board (AN385), by the script a maker would run."""
    need("arm-none-eabi-gcc")
    script = EXAMPLES / "mps2_an385" / "build.sh"
    done = subprocess.run(
        [str(script), str(folder)],
        env=os.environ | {"PYTHON": sys.executable},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    return folder / "firmware.elf"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(firmware: Path, serial: str = "tcp") -> Iterator[str]:
    """The board, its serial port on a pty or on a TCP port; gives what `quiethand record --port` takes.

    On TCP it is switched on by whoever connects first, so that its greeting is not lost.
    """
    port = _free_port()
    chosen = "pty" if serial == "pty" else f"tcp:127.0.0.1:{port},server=on,wait=on,nodelay=on"
    command = [need("qemu-system-arm"), "-M", "mps2-an385", "-kernel", str(firmware), "-display", "none"]
    process = subprocess.Popen(
        [*command, "-monitor", "none", "-serial", chosen], stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    try:
        assert process.stdout is not None
        said = process.stdout.readline().decode()
        if serial == "pty":
            (path,) = re.findall(r"/dev/\S+", said)
            yield path
        else:
            assert "waiting for connection" in said
            yield f"socket://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(10)


def connected(url: str) -> socket.socket:
    """A bare connection to a board on a TCP port."""
    host, _, port = url.removeprefix("socket://").partition(":")
    link = socket.create_connection((host, int(port)), timeout=5)
    link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return link


def hear(link: socket.socket, seconds: float) -> bytes:
    """What comes within a time."""
    until, data = time.monotonic() + seconds, b""
    while (left := until - time.monotonic()) > 0:
        link.settimeout(left)
        try:
            data += link.recv(65536)
        except TimeoutError:
            break
    return data
