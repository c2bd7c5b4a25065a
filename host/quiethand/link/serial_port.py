"""A link to a device by URL: a serial port, `socket://`, `rfc2217://`, or a plain file or pipe.

Every kind reads what there is (b"" where nothing came in time), and raises `LinkLost` where the other side has gone.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import stat
import sys
from typing import TYPE_CHECKING, Final, Protocol
from urllib.parse import urlsplit

from quiethand.errors import InputError
from quiethand.link.lock import lock_name

if TYPE_CHECKING:
    import serial

__all__ = ["DEFAULT_BAUD", "POLL_S", "Link", "LinkLost", "PortLock", "open_link"]

DEFAULT_BAUD: Final = 921_600  # 4.9 kHz of samples at 70 % of the line
POLL_S: Final = 0.05  # how soon the recorder sees that it is to stop, or that a command is due
_PIECE: Final = 65_536
_CONNECT_S: Final = 3.0


class LinkLost(Exception):
    """The other side has gone; the message says how. `ended`: a file or pipe came to its end, nothing will return."""

    def __init__(self, reason: str, *, ended: bool = False) -> None:
        super().__init__(reason)
        self.ended = ended


class Link(Protocol):
    def read(self) -> bytes:
        """What has come, waiting at most `POLL_S` for the first byte."""

    def write(self, data: bytes) -> None:
        """Send; what can't be sent at once is dropped (commands are sent again)."""

    def close(self) -> None:
        """Let go; a second time does nothing."""


class PortLock:
    """Keeps a second recorder from the same port. Held over reconnections."""

    def __init__(self, url: str) -> None:
        name = url if "://" in url else os.path.realpath(url)
        held = lock_name(name)
        if held is None:
            raise InputError("another recorder has this port", where=url, do="stop it first")
        self._held = held

    def close(self) -> None:
        self._held.close()


class SocketLink:
    """TCP, owned by us: pyserial's socket flushes what came first, and throws away what it had when the end comes."""

    def __init__(self, url: str) -> None:
        parts = urlsplit(url)
        try:
            host, port = parts.hostname, parts.port
        except ValueError:
            host = port = None
        if not host or not port:
            raise InputError("not a socket's URL", where=url, do="write socket://host:port")
        self._socket = socket.create_connection((host, port), timeout=_CONNECT_S)
        self._socket.setblocking(False)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # A cable pulled between two machines closes nothing: ask from time to time whether the other is there.
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for option, value in (("TCP_KEEPIDLE", 3), ("TCP_KEEPINTVL", 1), ("TCP_KEEPCNT", 3)):
            if hasattr(socket, option):
                self._socket.setsockopt(socket.IPPROTO_TCP, getattr(socket, option), value)

    def read(self) -> bytes:
        ready, _, _ = select.select([self._socket], [], [], POLL_S)
        if not ready:
            return b""
        try:
            data = self._socket.recv(_PIECE)
        except BlockingIOError:
            return b""
        except OSError as error:
            raise LinkLost(error.strerror or str(error)) from None
        if not data:
            raise LinkLost("closed by the other side")
        return data

    def write(self, data: bytes) -> None:
        try:
            self._socket.send(data)
        except BlockingIOError:
            return
        except OSError as error:
            raise LinkLost(error.strerror or str(error)) from None

    def close(self) -> None:
        self._socket.close()


class FileLink:
    """A plain file, a pipe, or standard input ("-"): read to its end, once."""

    def __init__(self, path: str) -> None:
        flags = os.O_RDONLY | getattr(os, "O_BINARY", 0)
        self._file = os.dup(sys.stdin.fileno()) if path == "-" else os.open(path, flags)
        self._closed = False

    def read(self) -> bytes:
        if sys.platform != "win32":
            ready, _, _ = select.select([self._file], [], [], POLL_S)
            if not ready:
                return b""
        data = os.read(self._file, _PIECE)
        if not data:
            raise LinkLost("the end of the file", ended=True)
        return data

    def write(self, data: bytes) -> None:
        """A file hears nothing."""

    def close(self) -> None:
        if not self._closed:  # the number may be another file's by now
            self._closed = True
            os.close(self._file)


class SerialLink:
    """Any other URL that pyserial knows."""

    def __init__(self, url: str, baud: int) -> None:
        self._port = _quiet_port(url, baud)

    def read(self) -> bytes:
        try:
            # Only what is there already (or one byte): a read that meets the end throws away what it had.
            data: bytes = self._port.read(min(max(1, self._port.in_waiting), _PIECE))
        except (OSError, TypeError) as error:  # TypeError: pyserial's own, where the port is closed under a read
            left_over = _left_over(self._port)
            if left_over:  # the next read tells of the end
                return left_over
            raise LinkLost(_short(error)) from None
        return data

    def write(self, data: bytes) -> None:
        import serial

        with contextlib.suppress(serial.SerialTimeoutException):
            try:
                self._port.write(data)
            except serial.SerialTimeoutException:
                raise
            except (OSError, TypeError) as error:
                raise LinkLost(_short(error)) from None

    def close(self) -> None:
        with contextlib.suppress(OSError, TypeError):
            self._port.close()


def _left_over(port: serial.Serial) -> bytes:
    """What pyserial's network ports had read but won't give out once their connection has ended."""
    queue = getattr(port, "_read_buffer", None)
    left_over = bytearray()
    while queue is not None and not queue.empty():
        left_over += queue.get_nowait() or b""  # None marks the end
    return bytes(left_over)


def _short(error: Exception) -> str:
    return str(error).split(":")[0].strip() or type(error).__name__


def _quiet_port(url: str, baud: int) -> serial.Serial:
    import serial

    if "://" in url:
        port = serial.serial_for_url(url, do_not_open=True)
    else:

        class QuietSerial(serial.Serial):
            """Opens without setting DTR and RTS, which reset many boards."""

            def _update_dtr_state(self) -> None: ...

            def _update_rts_state(self) -> None: ...

        port = QuietSerial()
        port.port = url
        port.write_timeout = 0.2  # the handlers of other URLs know no such thing
        if sys.platform != "win32":
            port.exclusive = True
    port.baudrate = baud
    port.timeout = POLL_S
    port.open()
    _keep_dtr_on_close(port)
    return port


def _keep_dtr_on_close(port: serial.Serial) -> None:
    """Without this POSIX systems drop DTR at the last close, and the board resets when it is opened again."""
    try:
        import termios

        settings = termios.tcgetattr(port.fileno())
        settings[2] &= ~termios.HUPCL
        termios.tcsetattr(port.fileno(), termios.TCSANOW, settings)
    except (ImportError, AttributeError, OSError, TypeError, ValueError):
        return  # no such setting here: not a POSIX port
    except Exception as error:  # termios.error is no OSError, and not nameable where termios is missing
        if type(error).__name__ != "error":
            raise


def _is_plain_file(url: str) -> bool:
    if url == "-":
        return True
    try:
        mode = os.stat(url).st_mode
    except OSError:
        return False
    return stat.S_ISREG(mode) or stat.S_ISFIFO(mode)


def open_link(url: str, baud: int = DEFAULT_BAUD) -> Link:
    """Open a link.

    Raises:
        InputError: there is no such port, it is in use, or may not be opened; in one line.
    """
    try:
        if url.startswith("socket://"):
            return SocketLink(url)
        if _is_plain_file(url):
            return FileLink(url)
        return SerialLink(url, baud)
    except socket.gaierror:
        raise InputError("no machine of this name", where=url, do="check the name") from None
    except ConnectionRefusedError:
        raise InputError("nothing listens there", where=url, do="start the device or the emulator first") from None
    except TimeoutError:
        raise InputError("no connection in 3 s", where=url, do="check that the device is on and reachable") from None
    except (OSError, ValueError) as error:
        raise _refused(url, error) from None


def _refused(url: str, error: Exception) -> InputError:
    text = str(error)
    if isinstance(error, ValueError):
        return InputError(f"not a port or URL ({text})", where=url, do="see 'quiethand ports'")
    if "waiting for option" in text:
        return InputError("the server does not let its lines be set", where=url, do="add ?ign_set_control to the URL")
    if "Connection refused" in text:
        return InputError("nothing listens there", where=url, do="start what serves it first")
    if "exclusively lock" in text or "Access is denied" in text or getattr(error, "errno", None) == 16:
        return InputError("the port is in use", where=url, do="close the program that has it")
    if isinstance(error, PermissionError) or "Permission denied" in text:
        return InputError(
            "the port may not be opened by you", where=url, do="join the group that owns it (often dialout)"
        )
    if isinstance(error, FileNotFoundError) or "No such file" in text or "could not open port" in text:
        return InputError("no such port", where=url, do="see 'quiethand ports' for those that are there")
    return InputError(f"the port can't be opened ({_short(error)})", where=url, do="see 'quiethand ports'")
