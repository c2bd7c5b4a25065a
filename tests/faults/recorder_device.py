"""A device for the recorder's fault tests: answers commands and streams frames over TCP or a pty, and remembers every
byte that it sent, so that a recording can be held against it."""

from __future__ import annotations

import fcntl
import os
import select
import socket
import termios
import threading
import time
import tty
from array import array
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
from quiethand_protocol.encoding import encode
from quiethand_protocol.framing import BadRunError, decode_run
from quiethand_protocol.items import Located
from quiethand_protocol.messages import Command, CommandCode, Description, Reply, Samples, status_byte
from quiethand_protocol.parser import Parser

DESCRIPTION = Description(b"unplug01", 1_000_000, 2_000_000, 0.01, 0.001, boot=1)
BLOCK = 20
BLOCK_S = 0.01  # 2,000 samples a second


class Streamer:
    """The device's side of one connection after another; `sent` holds the bytes of each."""

    def __init__(self, description: Description = DESCRIPTION) -> None:
        self.description = description
        self.sent: list[bytearray] = []
        self.sent_at: list[tuple[float, int]] = []  # time, bytes of all connections
        self.streaming_since: list[float | None] = []
        self.block = 0
        self._random = Random(len(description.uid) + description.boot)

    def connection(
        self, send: Callable[[bytes], None], receive: Callable[[], bytes], stop: Callable[[int], bool]
    ) -> None:
        """Serve one connection until `stop(bytes sent)` says so, or the other side goes (OSError)."""
        sent = bytearray()
        self.sent.append(sent)
        self.streaming_since.append(None)

        def out(data: bytes) -> None:
            send(data)
            sent.extend(data)
            self.sent_at.append((time.monotonic(), sum(map(len, self.sent))))

        commands = Parser("host")
        streaming = False
        next_s = time.monotonic()
        while not stop(len(sent)):
            for item in commands.feed(receive()):
                if not (isinstance(item, Located) and isinstance(item.message, Command)):
                    continue
                out(encode(Reply(item.message.request, item.message.command, 0, 0)))
                if item.message.command == CommandCode.DESCRIBE:
                    out(encode(self.description))
                elif item.message.command == CommandCode.START and not streaming:
                    streaming, next_s = True, time.monotonic()
                    self.streaming_since[-1] = next_s
                elif item.message.command == CommandCode.STOP:
                    streaming = False
            while streaming and time.monotonic() >= next_s and not stop(len(sent)):
                next_s += BLOCK_S
                self.block += 1
                out(self._frame())
        if streaming:  # cut within a frame, as a plug is pulled
            self.block += 1
            out(self._frame()[: self._random.randrange(1, 200)])

    def _frame(self) -> bytes:
        counts = np.full((BLOCK, 6), self.block % 30_000, np.int16)
        return encode(Samples(self.block * BLOCK, self.block * BLOCK * 500, counts, status_byte(0, 0, 1)))


class TcpDevice(Streamer):
    """Listens on a port of its own; a connection is cut at a byte that `cut_after` draws, or never."""

    def __init__(self, cut_after: Callable[[], int | None] = lambda: None) -> None:
        super().__init__()
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.05)
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._cut_after = cut_after
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while not self._done.is_set():
            try:
                connection, _ = self._server.accept()
            except TimeoutError:
                continue
            except OSError:  # closed
                return
            limit = self._cut_after()
            with connection:
                connection.settimeout(5)

                def receive(connection: socket.socket = connection) -> bytes:
                    ready, _, _ = select.select([connection], [], [], 0.002)
                    if not ready:
                        return b""
                    data = connection.recv(4096)
                    if not data:
                        raise OSError("the recorder has gone")
                    return data

                def stop(sent: int, limit: int | None = limit) -> bool:
                    return self._done.is_set() or (limit is not None and sent >= limit)

                try:
                    self.connection(connection.sendall, receive, stop)
                    connection.shutdown(socket.SHUT_WR)  # an end, not a reset: what was sent arrives
                    while connection.recv(4096):
                        pass
                except OSError:
                    continue

    def close(self) -> None:
        self._server.close()  # first, or the recorder is back before we are gone
        self._done.set()
        self._thread.join()


class PtyDevice(Streamer):
    """A serial port that comes and goes under one name."""

    def __init__(self, path: Path, description: Description = DESCRIPTION) -> None:
        super().__init__(description)
        self.path = path

    def plug(self, stop: Callable[[int], bool], recording: Path | None = None) -> None:
        """Appear, serve until `stop`, let the last bytes be read (and stand in `recording`), vanish."""
        master, slave = os.openpty()
        tty.setraw(slave)
        self.path.symlink_to(os.ttyname(slave))
        try:

            def receive() -> bytes:
                ready, _, _ = select.select([master], [], [], 0.002)
                return os.read(master, 4096) if ready else b""

            self.connection(lambda data: _write_all(master, data), receive, stop)
            _wait_until_read(slave)
            if recording is not None:
                _wait_until_kept(bytes(self.sent[-1][-24:]), recording)
        finally:
            self.path.unlink()
            os.close(slave)
            os.close(master)


def _wait_until_read(slave: int) -> None:
    """A hang-up throws away what nobody has read yet: what never reached the recorder's side is nobody's to keep."""
    until = time.monotonic() + 5
    empty_since = time.monotonic()
    while time.monotonic() < until and time.monotonic() - empty_since < 0.15:  # some of it may be on its way there
        time.sleep(0.005)
        if array("i", fcntl.ioctl(slave, termios.FIONREAD, b"\0" * 4))[0]:
            empty_since = time.monotonic()


def _wait_until_kept(last: bytes, recording: Path) -> None:
    """On a busy computer bytes can be on their way from one side of a pty to the other for longer than that."""
    until = time.monotonic() + 5
    while time.monotonic() < until and last.rstrip(b"\0") not in recording.read_bytes():
        time.sleep(0.01)


def _write_all(descriptor: int, data: bytes) -> None:
    while data:
        data = data[os.write(descriptor, data) :]


def device_bytes(file: bytes) -> bytes:
    """A recording without the host's frames and without delimiters (the recorder may write one of its own)."""
    kept = bytearray()
    for run in file.split(b"\0"):
        try:
            host = decode_run(run)[0] >= 0x80
        except BadRunError:
            host = False
        if not host:
            kept += run
    return bytes(kept)


def undelimited(data: bytes) -> bytes:
    return bytes(data).replace(b"\0", b"")


def cut_at_random(random: Random, least: int, most: int) -> Callable[[], int]:
    return lambda: random.randint(least, most)
