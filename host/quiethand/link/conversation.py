"""What the host says to a device, and when: describe until it answers, then settings and start, again after a reset.

Pure: messages and times in, commands out. Times are any clock's seconds that only go forward.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from quiethand_protocol.encoding import encode
from quiethand_protocol.items import Blocks, Item, Located
from quiethand_protocol.messages import Command, CommandCode, Description, Reply

__all__ = ["Conversation"]

DESCRIBE_EVERY_S: Final = 0.3
NO_ANSWER_AFTER_S: Final = 5.0  # many boards reset when the port opens, and take seconds to start
ASK_ON_EVERY_S: Final = 2.0  # after that: it may yet be switched on
RETRY_AFTER_S: Final = 0.2
TRIES: Final = 5  # of a setting; then on without it
START_AGAIN_EVERY_S: Final = 1.0  # a device that does not stream is not flooded
SILENCE_S: Final = 1.0  # without SAMPLES: the device was reset


class Conversation:
    """One device, over reconnections.

    Attributes:
        description: the last one heard.
        no_answer: nothing was heard for 5 s after the link came up.
        complaints: what a person should be told, in order (rate refused, another device).
    """

    def __init__(self, rate_mhz: int | None = None) -> None:
        self.description: Description | None = None
        self.no_answer = False
        self.complaints: list[str] = []
        self._rate_mhz = rate_mhz
        self._state: Literal["idle", "asking", "setting", "starting", "streaming"] = "idle"
        self._request = 0
        self._asked_since_s = self._next_s = self._heard_samples_s = 0.0
        self._tries = 0
        self._described_s = -DESCRIBE_EVERY_S

    def link_up(self, now_s: float) -> None:
        """The link is there (again)."""
        self._state = "asking"
        self._asked_since_s = self._next_s = now_s
        self.no_answer = False

    def link_down(self) -> None:
        self._state = "idle"

    def hear(self, items: list[Item], now_s: float) -> None:
        """Take what the device said."""
        for item in items:
            if isinstance(item, Blocks):
                self._hear_samples(item, now_s)
            elif isinstance(item, Located):
                if isinstance(item.message, Description):
                    self._hear_description(item.message, now_s)
                elif isinstance(item.message, Reply):
                    self._hear_reply(item.message, now_s)

    def due(self, now_s: float) -> bytes:
        """The commands to send now, b"" where none is due."""
        if self._state == "streaming" and now_s - self._heard_samples_s > SILENCE_S:
            self._go("setting", now_s)
        if self._state in ("idle", "streaming") or now_s < self._next_s:
            return b""
        if self._state == "asking":
            self.no_answer = now_s - self._asked_since_s >= NO_ANSWER_AFTER_S
            self._next_s = max(now_s, self._next_s + (ASK_ON_EVERY_S if self.no_answer else DESCRIBE_EVERY_S))
            return self._describe(now_s)
        if self._state == "setting":
            if self._rate_mhz is not None and self._tries < TRIES:
                self._tries += 1
                self._next_s = now_s + RETRY_AFTER_S
                return encode(Command.set_rate(self._new_request(), self._rate_mhz))
            if self._rate_mhz is not None:
                self._complain("the device does not answer to a change of rate")
            self._go("starting", now_s)
        self._tries += 1
        self._next_s = now_s + (RETRY_AFTER_S if self._tries <= TRIES else START_AGAIN_EVERY_S)
        return encode(Command(self._new_request(), CommandCode.START))

    def farewell(self) -> bytes:
        """What to say before the link is left: stop."""
        return encode(Command(self._new_request(), CommandCode.STOP))

    def described_again(self, now_s: float) -> bytes:
        """`describe` for blocks that no description fits, not more often than every 300 ms; else b""."""
        return self._describe(now_s) if now_s - self._described_s >= DESCRIBE_EVERY_S else b""

    def _hear_samples(self, blocks: Blocks, now_s: float) -> None:
        self._heard_samples_s = now_s
        if (self._state in ("setting", "starting") and self._rate_mhz is None) or self._state == "starting":
            self._state = "streaming"

    def _hear_description(self, description: Description, now_s: float) -> None:
        before, self.description = self.description, description
        self.no_answer = False
        if before is not None and before.uid != description.uid:
            self._complain(f"another sensor answers: {description.uid.hex()} in place of {before.uid.hex()}")
        new_boot = before is not None and (before.uid, before.boot) != (description.uid, description.boot)
        if self._state == "asking" or (new_boot and self._state != "idle"):
            self._go("setting", now_s)

    def _hear_reply(self, reply: Reply, now_s: float) -> None:
        if self._state == "setting" and reply.command == CommandCode.SET_RATE:
            if reply.result != 0:
                self._complain(f"the device refused the rate (its answer is {reply.result})")
            self._go("starting", now_s)
        elif self._state == "starting" and reply.command == CommandCode.START and reply.result == 0:
            self._heard_samples_s = now_s  # from here it has a second to stream
            self._state = "streaming"

    def _go(self, state: Literal["setting", "starting"], now_s: float) -> None:
        self._state = state
        self._next_s = now_s
        self._tries = 0

    def _describe(self, now_s: float) -> bytes:
        self._described_s = now_s
        return encode(Command(self._new_request(), CommandCode.DESCRIBE))

    def _new_request(self) -> int:
        self._request = (self._request + 1) % 256
        return self._request

    def _complain(self, text: str) -> None:
        if text not in self.complaints:
            self.complaints.append(text)

    def fits(self, blocks: Blocks) -> bool:
        """Whether the description in force is that of all these blocks, by the bits in their status."""
        if self.description is None:
            return False
        bits = (self.description.revision & 7) << 3 | (self.description.boot & 3) << 6
        return bool(np.all((blocks.status & 0xF8) == bits))
