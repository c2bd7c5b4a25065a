"""Looks for a sensor that was unplugged and may return as another port: boards are often numbered anew.

Only ports that came since are asked, so that nothing is said to whatever else is plugged in; those that another
program holds are left alone, and asked later should they be let go. What a port says while it is asked is kept for the
recorder, who gets it only if its uid is the right one: two devices are never mixed.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass, field

from quiethand_protocol.encoding import encode
from quiethand_protocol.items import Located
from quiethand_protocol.messages import Command, CommandCode, Description
from quiethand_protocol.parser import Parser

from quiethand.errors import InputError
from quiethand.link.conversation import DESCRIBE_EVERY_S, NO_ANSWER_AFTER_S
from quiethand.link.ports import list_ports
from quiethand.link.serial_port import Link, LinkLost, PortLock, open_link

__all__ = ["Found", "PortSearch", "usb_ports"]


def usb_ports() -> list[str]:
    """The names of the ports that a sensor could be."""
    return [port.name for port in list_ports() if port.looks_like_sensor]


@dataclass(frozen=True)
class Found:
    """The sensor: where it is, the open link with what was heard on it already, and the lock that keeps others
    off (None where the recorder has had it all the time: the port that it began with)."""

    name: str
    link: Link
    lock: PortLock | None


class _Reread:
    """A link whose first bytes were read before."""

    def __init__(self, link: Link, heard: bytes) -> None:
        self._link, self._heard = link, heard

    def read(self) -> bytes:
        heard, self._heard = self._heard, b""
        return heard or self._link.read()

    def write(self, data: bytes) -> None:
        self._link.write(data)

    def close(self) -> None:
        self._link.close()


@dataclass
class _Asked:
    """A port that is being asked."""

    name: str
    link: Link
    lock: PortLock | None
    since_s: float
    parser: Parser = field(default_factory=lambda: Parser("device"))
    heard: bytearray = field(default_factory=bytearray)
    next_s: float = 0.0
    request: int = 0

    def uid(self, now_s: float) -> bytes | None:
        """Ask, if it is time to, and listen once. None: no description yet."""
        if now_s >= self.next_s:
            self.next_s = now_s + DESCRIBE_EVERY_S
            self.request = (self.request + 1) % 256
            self.link.write(encode(Command(self.request, CommandCode.DESCRIBE)))
        data = self.link.read()
        self.heard += data
        said = [item.message for item in self.parser.feed(data) if isinstance(item, Located)]
        return next((message.uid for message in said if isinstance(message, Description)), None)

    def close(self) -> None:
        self.link.close()
        if self.lock is not None:
            self.lock.close()


class PortSearch:
    """From the start of a recording on, so that it knows which ports were there before.

    Args:
        own: the port that is recorded, and whose lock the caller holds.
        names: lists the ports there are.

    Attributes:
        said: what a person should be told, in order.
    """

    def __init__(self, own: str, baud: int, names: Callable[[], list[str]] = usb_ports) -> None:
        self.said: list[str] = []
        self._first = self._own = own
        self._baud, self._names = baud, names
        self._known = self._others()
        self._asked: dict[str, _Asked] = {}

    def look(self, uid: bytes, now_s: float) -> Found | None:
        """One look around, some 50 ms for each port that is being asked. Call it a few times a second."""
        there = self._others()
        self._known &= there  # what was unplugged in between may return as the sensor
        for name in self._asked.keys() - there:
            self._drop(name)
        for name in sorted(there - self._known - self._asked.keys()):
            self._ask(name, now_s)
        for name, asked in list(self._asked.items()):
            try:
                answer = asked.uid(now_s)
            except LinkLost:
                self._drop(name)
                continue
            if answer == uid:
                del self._asked[name]
                self.give_up()
                self._own = name
                self._say(f"the sensor is back as {name}")
                return Found(name, _Reread(asked.link, bytes(asked.heard)), asked.lock)
            if answer is not None or now_s - asked.since_s > NO_ANSWER_AFTER_S:
                who = "does not answer like a sensor" if answer is None else f"is another sensor ({answer.hex()})"
                self._say(f"{name} {who}; it is left alone")
                self._drop(name)
                self._known.add(name)
        return None

    def give_up(self) -> None:
        """Let go of all ports."""
        for name in list(self._asked):
            self._drop(name)

    def _others(self) -> set[str]:
        return {name for name in self._names() if not _same(name, self._own)}

    def _ask(self, name: str, now_s: float) -> None:
        with contextlib.ExitStack() as held, contextlib.suppress(InputError):  # another program's: not now
            lock = None if _same(name, self._first) else PortLock(name)
            if lock is not None:
                held.callback(lock.close)
            link = open_link(name, self._baud)
            held.pop_all()
            self._asked[name] = _Asked(name, link, lock, now_s)
            self._say(f"asking {name} whether it is the sensor")

    def _drop(self, name: str) -> None:
        self._asked.pop(name).close()

    def _say(self, text: str) -> None:
        if text not in self.said:
            self.said.append(text)


def _same(one: str, other: str) -> bool:
    return os.path.realpath(one) == os.path.realpath(other)
