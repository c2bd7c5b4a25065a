"""Talking to a device under check: what was asked and when, what came and when. Judged later, elsewhere.

The link and the clock are the caller's, so that a device in software is checked in no time.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal, Protocol

from quiethand_protocol.detect import KEPT_LIMIT, ModeDetector
from quiethand_protocol.encoding import encode
from quiethand_protocol.items import Item, Located, TextItem
from quiethand_protocol.messages import Command, Reply
from quiethand_protocol.parser import Parser
from quiethand_protocol.text import TextParser

__all__ = ["ANSWER_S", "Arrival", "Asked", "Evidence", "Phase", "Talk", "TextArrival"]

ANSWER_S: Final = 0.2  # the wire format's
_PATIENCE_S: Final = 0.6  # so long for an answer that is late
_TRIES: Final = 3  # a busy computer can be late too: only a device that always is fails
_FIRST_REQUEST: Final = 0x51  # a device that echoes nothing answers 0


class Wire(Protocol):
    def read(self) -> bytes:
        """What has come, after a short wait at most."""

    def write(self, data: bytes) -> None: ...


@dataclass(frozen=True)
class Arrival:
    at_s: float
    item: Item


@dataclass(frozen=True)
class TextArrival:
    at_s: float
    item: TextItem


@dataclass(frozen=True)
class Asked:
    """One command, and the best answer of up to three tries."""

    why: str
    command: int
    requests: tuple[int, ...]  # of the tries
    sent_s: float  # the last try
    reply: Reply | None
    latency_s: float | None

    @property
    def in_time(self) -> bool:
        return self.latency_s is not None and self.latency_s <= ANSWER_S


@dataclass(frozen=True)
class Phase:
    """A stretch of the talk: `arrivals` of the evidence from `first` up to `end`."""

    begun_s: float
    ended_s: float
    first: int
    end: int


@dataclass
class Evidence:
    """All that a check has to go by. Times are the host's, in seconds, from any zero."""

    mode: Literal["binary", "text"] | None = None
    arrivals: list[Arrival] = field(default_factory=list)
    text: list[TextArrival] = field(default_factory=list)
    asked: list[Asked] = field(default_factory=list)
    phases: dict[str, Phase] = field(default_factory=dict)
    bytes_heard: int = 0

    def during(self, *names: str) -> list[Arrival]:
        """What came in these phases; nothing for one that was never reached."""
        found: list[Arrival] = []
        for name in names:
            if name in self.phases:
                phase = self.phases[name]
                found += self.arrivals[phase.first : phase.end]
        return found

    def answers(self, why: str) -> list[Asked]:
        return [asked for asked in self.asked if asked.why == why]


class Talk:
    """One link to one device.

    Args:
        wire: open.
        now: a clock that only goes forward, in seconds.
        tell: called with the name of each phase as it begins.
        pause: lets time pass without taking anything from the line.
    """

    def __init__(
        self,
        wire: Wire,
        now: Callable[[], float],
        tell: Callable[[str], None] = lambda _name: None,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self.evidence = Evidence()
        self._wire, self._now, self._tell, self.pause = wire, now, tell, pause
        self._parser = Parser("device")
        self._text = TextParser()
        self._detector = ModeDetector()
        self._undecided = bytearray()
        self._request = _FIRST_REQUEST
        self._sent: set[int] = set()
        self._phase: tuple[str, float, int] | None = None

    def phase(self, name: str) -> None:
        """What comes from here on belongs to the phase `name`."""
        now, heard = self._now(), len(self.evidence.arrivals)
        if self._phase is not None:
            before, begun, first = self._phase
            self.evidence.phases[before] = Phase(begun, now, first, heard)
        self._phase = (name, now, heard)
        self._tell(name)

    @property
    def phase_name(self) -> str:
        return self._phase[0] if self._phase else ""

    def send(self, data: bytes) -> None:
        self._wire.write(data)

    def listen(self, seconds: float, until: Callable[[list[Item]], bool] = lambda _items: False) -> bool:
        """Take what comes for so long, or until `until` says so of what came last; whether it did."""
        end_s = self._now() + seconds
        while self._now() < end_s:
            if until(self._take(self._wire.read())):
                return True
        return False

    def ask(self, why: str, command: int, arguments: bytes = b"", tries: int = _TRIES) -> Asked:
        """Send a command and wait for its answer."""
        requests: list[int] = []
        best: tuple[float, Reply] | None = None
        sent_s = self._now()
        for _ in range(tries):
            request = self._request = (self._request + 1) % 256
            requests.append(request)
            sent_s = self._now()
            self.send(encode(Command(request, command, arguments)))
            self._sent.add(request)
            reply = self._answer(request, command)
            if reply is None:
                continue
            latency = self._now() - sent_s
            if best is None or latency < best[0]:
                best = (latency, reply)
            if latency <= ANSWER_S:
                break
        latency_s, answer = best or (None, None)
        asked = Asked(why, command, tuple(requests), sent_s, answer, latency_s)
        self.evidence.asked.append(asked)
        return asked

    def _answer(self, request: int, command: int) -> Reply | None:
        """A REPLY that does not echo is taken too: that fault has a line of its own."""
        found: list[Reply] = []

        def answers(reply: Reply) -> bool:
            return reply.request == request or (reply.command == command and reply.request not in self._sent)

        def came(items: list[Item]) -> bool:
            messages = [item.message for item in items if isinstance(item, Located)]
            found.extend(m for m in messages if isinstance(m, Reply) and answers(m))
            return bool(found)

        self.listen(_PATIENCE_S, came)
        return found[0] if found else None

    def _take(self, data: bytes) -> list[Item]:
        if not data:
            return []
        now, evidence = self._now(), self.evidence
        evidence.bytes_heard += len(data)
        if evidence.mode is None:
            self._undecided += data
            evidence.mode = self._detector.feed(data)
            if evidence.mode is None and len(self._undecided) <= KEPT_LIMIT:
                return []
            data = bytes(self._undecided)
            self._undecided.clear()
        if evidence.mode == "text":
            evidence.text += [TextArrival(now, item) for item in self._text.feed(data)]
            return []
        items = self._parser.feed(data)
        evidence.arrivals += [Arrival(now, item) for item in items]
        return items
