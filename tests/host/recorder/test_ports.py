"""Listing ports, and what a link says when it can't be opened."""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial
import serial.rfc2217
from click.testing import CliRunner
from quiethand.commands.ports import command
from quiethand.errors import InputError
from quiethand.link.ports import list_ports
from quiethand.link.serial_port import Link, LinkLost, PortLock, open_link

USB = SimpleNamespace(
    device="/dev/ttyACM0",
    description="USB CDC board",
    manufacturer="Someone",
    vid=0x1209,
    pid=0x0001,
    serial_number="17",
)
ON_BOARD = SimpleNamespace(
    device="/dev/ttyS0", description="n/a", manufacturer=None, vid=None, pid=None, serial_number=None
)


def with_ports(monkeypatch: pytest.MonkeyPatch, *ports: SimpleNamespace) -> None:
    from serial.tools import list_ports as known

    monkeypatch.setattr(known, "comports", lambda: list(ports))


def test_a_usb_port_looks_like_a_sensor_and_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    with_ports(monkeypatch, ON_BOARD, USB)
    usb, on_board = list_ports()[:2]
    assert (usb.name, usb.usb_id, usb.looks_like_sensor) == ("/dev/ttyACM0", "1209:0001", True)
    assert (on_board.name, on_board.description, on_board.looks_like_sensor) == ("/dev/ttyS0", "", False)
    told = CliRunner().invoke(command)
    assert told.exit_code == 0
    assert told.output.splitlines()[0] == (
        "/dev/ttyACM0  looks like a sensor: USB CDC board, Someone, 1209:0001, serial 17"
    )
    assert told.output.splitlines()[1] == "/dev/ttyS0  nothing is known of it"


def test_no_port_that_looks_like_a_sensor(monkeypatch: pytest.MonkeyPatch) -> None:
    with_ports(monkeypatch)
    told = CliRunner().invoke(command)
    assert told.exit_code == 1
    assert "socket://" in told.output


@pytest.mark.skipif(sys.platform == "win32", reason="ptys are POSIX's")
def test_a_serial_port_in_use_is_told_in_one_line() -> None:
    master, slave = os.openpty()
    name = os.ttyname(slave)
    link = open_link(name)
    with pytest.raises(InputError, match="the port is in use"):
        open_link(name)
    os.write(master, b"hello")
    heard = b""
    while len(heard) < 5:
        heard += link.read()
    assert heard == b"hello"
    assert link.read() == b""
    link.write(b"describe")
    assert os.read(master, 100) == b"describe"
    os.close(slave)
    os.close(master)
    with pytest.raises(LinkLost):
        link.read()
    link.close()
    with pytest.raises(InputError, match="no such port"):
        open_link(name)


def test_a_port_is_locked_by_name(tmp_path: Path) -> None:
    (tmp_path / "port").write_text("")
    (tmp_path / "alias").symlink_to(tmp_path / "port")
    lock = PortLock(str(tmp_path / "port"))
    with pytest.raises(InputError, match="another recorder has this port"):
        PortLock(str(tmp_path / "alias"))
    lock.close()
    PortLock(str(tmp_path / "alias")).close()


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes in the file system are POSIX's")
def test_a_pipe_is_read_to_its_end(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    writer = threading.Thread(target=(tmp_path / "pipe").write_bytes, args=(b"lines",))
    writer.start()
    link = open_link(str(tmp_path / "pipe"))
    assert link.read() == b"lines"
    writer.join()
    with pytest.raises(LinkLost) as lost:
        link.read()
    assert lost.value.ended
    link.close()


def test_pyserials_other_urls_open() -> None:
    link = open_link("loop://")
    link.write(b"there and back")
    heard = b""
    while len(heard) < 14:
        heard += link.read()
    assert heard == b"there and back"
    link.close()


class SerialServer:
    """A serial port served over the network after RFC 2217, by pyserial's own server side; it echoes."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        connection, _ = self._server.accept()
        self._server.close()
        port = serial.serial_for_url("loop://", timeout=0)
        sender = SimpleNamespace(write=connection.sendall)
        manager = serial.rfc2217.PortManager(port, sender)
        with connection:
            connection.settimeout(0.02)
            while True:
                try:
                    data = connection.recv(1024)
                except TimeoutError:
                    continue
                if not data:
                    return
                for byte in manager.filter(data):
                    if byte == b"!":  # the test's word for: send a lot, then pull the cable
                        connection.sendall(b"x" * 50_000)
                        return
                    connection.sendall(b"".join(manager.escape(byte)))


def to_the_end(link: Link) -> bytes:
    heard = b""
    while True:
        try:
            heard += link.read()
        except LinkLost:
            return heard


def test_rfc2217_reads_writes_and_loses_its_link() -> None:
    server = SerialServer()
    link = open_link(server.url)
    link.write(b"verbatim \xff\x00\xff")
    heard = b""
    while len(heard) < 12:
        heard += link.read()
    assert heard == b"verbatim \xff\x00\xff"
    link.write(b"!")
    time.sleep(0.3)
    assert to_the_end(link) == b"x" * 50_000
    link.close()
    with pytest.raises(InputError, match="nothing listens there"):
        open_link(server.url)
