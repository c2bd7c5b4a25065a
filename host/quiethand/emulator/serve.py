"""The thin shell: a device on a TCP port of this machine, or on a pty where there are such things, in real time.

Like a wire, a link carries on whether or not somebody listens: a device that streams goes on streaming when the
client leaves, what it says then is lost, and whoever comes back joins in the middle.
"""

from __future__ import annotations

import json
import os
import select
import socket
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import IO, Protocol

from quiethand.axes import Axes
from quiethand.emulator.device import Device
from quiethand.emulator.text_device import TextDevice
from quiethand.emulator.truth import NuisanceTruth, ShotTruth
from quiethand.errors import InputError

__all__ = ["Link", "PtyLink", "TcpLink", "serve"]

LOOK_S = 0.005  # how often the device is looked at; a block of 19 samples lasts as long at 4 kHz
FULL_BYTES = 65_536  # waiting to be taken by the client: over it, the device drops blocks


class Link(Protocol):
    """Where bytes go and come from."""

    url: str  # for the client to open

    def exchange(self, data: bytes, wait_s: float) -> bytes:
        """Send, wait for something to arrive but not longer than `wait_s`, and give what arrived."""
        ...

    def congested(self) -> bool: ...

    def unplug(self) -> None: ...

    def plug(self) -> None: ...

    def close(self) -> None: ...


class TcpLink:
    """One client at a time on a port of 127.0.0.1; the next one waits until it has gone."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._client: socket.socket | None = None
        self._server: socket.socket | None = None
        self._waiting = bytearray()
        self.plug()
        self.url = f"socket://127.0.0.1:{self._port}"

    def plug(self) -> None:
        server = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":  # elsewhere it would let two servers share the port
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            server.bind(("127.0.0.1", self._port))
        except OSError as error:
            server.close()
            raise InputError(
                f"cannot listen on port {self._port}: {error.strerror}",
                where="--tcp",
                do="choose another port, or 0 for any that is free",
            ) from None
        server.listen(1)
        server.setblocking(False)
        self._server, self._port = server, server.getsockname()[1]

    def unplug(self) -> None:
        self._hang_up()
        if self._server is not None:
            self._server.close()
            self._server = None

    close = unplug

    def congested(self) -> bool:
        return len(self._waiting) > FULL_BYTES

    def exchange(self, data: bytes, wait_s: float) -> bytes:
        if self._client is not None and not self.congested():
            self._waiting += data
        self._flush()  # which may find that the client has gone
        source = self._client or self._server
        if source is None:
            time.sleep(wait_s)
            return b""
        ready, _, _ = select.select([source], [], [], wait_s)
        if not ready:
            return b""
        if self._client is None:
            self._welcome()
            return b""
        try:
            heard = self._client.recv(4096)
        except BlockingIOError:
            return b""
        except OSError:
            heard = b""
        if not heard:
            self._hang_up()
        return heard

    def _welcome(self) -> None:
        assert self._server is not None
        try:
            self._client, _ = self._server.accept()
        except OSError:  # gone again already
            return
        self._client.setblocking(False)
        self._client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _flush(self) -> None:
        if self._client is None or not self._waiting:
            return
        try:
            del self._waiting[: self._client.send(self._waiting)]
        except BlockingIOError:
            return
        except OSError:
            self._hang_up()

    def _hang_up(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
        self._waiting.clear()


class PtyLink:
    """A pseudo-terminal that stands for a serial port; `stable` reaches it by a symbolic link that outlives unplugging.

    This side keeps the client's end open too: else the terminal would lose its raw mode whenever a client leaves.
    """

    def __init__(self, *, stable: bool = False) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="quiethand-")) if stable else None
        self._master = self._slave = -1
        self._waiting = bytearray()
        self.url = ""
        self.plug()

    def plug(self) -> None:
        try:
            import pty
            import tty
        except ImportError:
            raise InputError(
                "this system has no pseudo-terminals", where="--pty", do="use --tcp 0 and open the socket:// address"
            ) from None
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.url = os.ttyname(self._slave)
        if self._folder is not None:
            link = self._folder / "port"
            link.symlink_to(self.url)
            self.url = str(link)

    def unplug(self) -> None:
        if self._master < 0:
            return
        os.close(self._master)
        os.close(self._slave)
        self._master = self._slave = -1
        self._waiting.clear()
        if self._folder is not None:
            (self._folder / "port").unlink(missing_ok=True)

    def close(self) -> None:
        self.unplug()
        if self._folder is not None:
            self._folder.rmdir()
            self._folder = None

    def congested(self) -> bool:
        # a terminal keeps what nobody reads; stale blocks are no use to whoever comes next
        return bool(self._waiting)

    def exchange(self, data: bytes, wait_s: float) -> bytes:
        if self._master < 0:
            time.sleep(wait_s)
            return b""
        if len(self._waiting) <= FULL_BYTES:
            self._waiting += data
        try:
            if self._waiting:
                del self._waiting[: os.write(self._master, self._waiting)]
        except BlockingIOError:
            pass
        ready, _, _ = select.select([self._master], [], [], wait_s)
        return os.read(self._master, 4096) if ready else b""


def serve(
    device: Device | TextDevice,
    link: Link,
    *,
    speed: float = 1.0,
    stop: Callable[[], bool] = lambda: False,
    truth: IO[str] | None = None,
) -> None:
    """Run until `stop` says so: the device's time is this machine's, times `speed`.

    Args:
        device: what to serve.
        link: where.
        speed: 1 is real time.
        stop: asked some 200 times a second.
        truth: gets a line of JSON for each shot and nuisance as it happens.
    """
    faults = device.scenario.faults
    begun, begun_unix = time.monotonic(), time.time()
    plug_s = faults.unplug_every_s or float("inf")
    back_s: float | None = None
    heard = b""
    while not stop():
        now = (time.monotonic() - begun) * speed
        if back_s is not None:
            if now < back_s:
                time.sleep(LOOK_S)
                continue
            back_s, plug_s = None, now + (faults.unplug_every_s or 0.0)
            device.power_up(now)
            link.plug()
        elif now >= plug_s:
            link.unplug()
            back_s = now + faults.unplugged_s
            device.step(now)
            continue
        out = device.step(now, heard, congested=link.congested())
        heard = link.exchange(out, LOOK_S)
        if truth is not None:
            _tell(device, now, begun_unix, speed, truth)


def _tell(device: Device | TextDevice, now_s: float, begun_unix: float, speed: float, truth: IO[str]) -> None:
    shots, nuisances = device.truth_until(now_s)
    events: list[tuple[float, ShotTruth | NuisanceTruth]] = [(shot.departure_s, shot) for shot in shots]
    events += [(nuisance.time_s, nuisance) for nuisance in nuisances]
    for at, event in events:
        what = "shot" if isinstance(event, ShotTruth) else "nuisance"
        line = {"what": what, "unix_s": round(begun_unix + at / speed, 4), **_plain(event)}
        truth.write(json.dumps(line) + "\n")
        truth.flush()


def _plain(value: ShotTruth | NuisanceTruth) -> dict[str, object]:
    plain: dict[str, object] = asdict(value)
    for key, inner in plain.items():
        if isinstance(inner, Axes):
            plain[key] = list(inner)
    return plain
