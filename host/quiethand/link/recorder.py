"""The recorder: what came over a link, and when, becomes the bytes of a recording and the commands to send.

Pure: no file, port or clock; `record_loop` brings those. The rules are those of the wire format's page under Recording.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from quiethand_protocol.detect import KEPT_LIMIT, ModeDetector
from quiethand_protocol.encoding import encode
from quiethand_protocol.framing import RUN_LIMIT_LIVE
from quiethand_protocol.items import Blocks, Item
from quiethand_protocol.messages import Clock, Gap, Session
from quiethand_protocol.parser import Parser

from quiethand.link.conversation import Conversation
from quiethand.link.device_runs import DeviceRuns
from quiethand.link.recording_header import header_frame
from quiethand.link.tally import Tally
from quiethand.link.text_lines import TextLines

__all__ = ["Out", "Recorder"]

_CLOCK_EVERY_S: Final = 1.0
_WAIT_FOR_DELIMITER_S: Final = 1.0


@dataclass(frozen=True)
class Out:
    """Bytes for the file, and bytes for the device."""

    write: bytes = b""
    send: bytes = b""


class Recorder:
    """One recording.

    Args:
        created: RFC 3339.
        software: name and version.
        recording_id: by which the store knows the recording again.
        session: the set-up's document, None where there is none.
        rate_mhz: samples per second x 1000 to ask the device for; None leaves it.

    Times are `now_s`, a clock that only goes forward, and `unix_ns`, the time of day.

    Attributes:
        mode: "binary", "text", or None while it is not known.
        tally, conversation: what passed, and how the device answers.
    """

    def __init__(
        self,
        *,
        created: str,
        software: str,
        recording_id: str,
        session: Mapping[str, object] | None = None,
        rate_mhz: int | None = None,
    ) -> None:
        self.mode: Literal["binary", "text"] | None = None
        self.tally = Tally()
        self.conversation = Conversation(rate_mhz)
        self._runs = DeviceRuns()
        self._lines = TextLines()
        self._detector = ModeDetector()
        self._undecided = bytearray()
        self._reader = Parser("recording")  # of what is written, so that its counts are those of a later reader
        self._opening = header_frame(created, software, recording_id)
        if session:
            self._opening += encode(Session(dict(session)))
        self._pending = b""  # host frames that wait for a delimiter
        self._pending_since_s = 0.0
        self._clock_s: float | None = None
        self._heard = False  # anything, since the last gap
        self._unfit = False  # blocks came that the description does not fit

    @property
    def bad_frames(self) -> int:
        return self._reader.bad_frames + self._reader.malformed

    @property
    def host_frames_from_device(self) -> int:
        return self._runs.host_frames

    def open(self) -> bytes:
        """The first bytes of the file."""
        return self._written(self._opening)

    def link_up(self, now_s: float) -> Out:
        self.conversation.link_up(now_s)
        return Out(send=self._commands(now_s))

    def received(self, data: bytes, now_s: float, unix_ns: int) -> Out:
        """Bytes that the device sent; `now_s` and `unix_ns` are when they had come."""
        self._heard = True
        if self.mode is None:
            data = self._decide(data)
        if self.mode == "text":
            write = self._text(data, now_s, unix_ns)
        else:
            write = self._binary(data, now_s, unix_ns)
        return Out(write, self._commands(now_s))

    def tick(self, now_s: float) -> Out:
        """Nothing came for a while."""
        return Out(self._with_host_frames(b"", now_s), self._commands(now_s))

    def link_lost(self, reason: str, unix_ns: int) -> Out:
        self.conversation.link_down()
        self.tally.gap()
        self._clock_s = None
        if not self._heard:  # a port that opens and closes again at once has one gap, not one at each try
            return Out()
        self._heard = False
        return Out(self._all_that_is_held() + self._written(encode(Gap(reason, unix_ns))))

    def farewell(self) -> Out:
        """Ask the device to stop; what it still sends may be recorded."""
        return Out(send=b"" if self.mode == "text" else self.conversation.farewell())

    def close(self) -> bytes:
        """The last bytes of the file."""
        return self._all_that_is_held()

    def _decide(self, data: bytes) -> bytes:
        """Hold `data` back until the mode is known; returns what may go on now.

        What is too much to hold goes on as it came: in a binary recording rubbish is a bad frame and no more, and a
        text-mode device that printed so much before its first three lines keeps even that.
        """
        self._undecided += data
        self.mode = self._detector.feed(data)
        keep = 0 if self.mode else KEPT_LIMIT
        ready = bytes(self._undecided[: max(0, len(self._undecided) - keep)])
        del self._undecided[: len(ready)]
        return ready

    def _binary(self, data: bytes, now_s: float, unix_ns: int) -> bytes:
        whole, rest = self._runs.feed(data)
        for item in self._read(whole, now_s):
            if not isinstance(item, Blocks):
                continue
            self.tally.add(item, now_s)
            self._unfit |= not self.conversation.fits(item)
            self._clock(unix_ns, int(item.ticks[-1]), now_s)
        return whole + self._with_host_frames(rest, now_s)

    def _text(self, data: bytes, now_s: float, unix_ns: int) -> bytes:
        opening = self._runs.cut()  # what was let go before the mode was known
        before = self._lines.data_lines
        frames = self._lines.feed(data)
        if self._lines.data_lines > before:
            self.tally.count(self._lines.data_lines - before, now_s)
            if self._lines.last_t_us is not None:
                self._clock(unix_ns, self._lines.last_t_us, now_s)
        return self._written(opening + frames) + self._with_host_frames(b"", now_s)

    def _clock(self, unix_ns: int, ticks: int, now_s: float) -> None:
        if self._clock_s is None or now_s - self._clock_s >= _CLOCK_EVERY_S:
            self._clock_s = now_s
            if not self._pending:
                self._pending_since_s = now_s
            self._pending += encode(Clock(unix_ns, ticks))

    def _with_host_frames(self, rest: bytes, now_s: float) -> bytes:
        """`rest`, the end of what goes to the file now, and the host frames that wait, where they may stand."""
        if not self._pending:
            return self._written(rest)
        if self._runs.run_bytes == len(rest):  # before `rest` the file stands behind a delimiter
            return self._written(self._take_pending() + rest)
        late = now_s - self._pending_since_s >= _WAIT_FOR_DELIMITER_S
        if late or self._runs.run_bytes >= RUN_LIMIT_LIVE:
            return self._written(rest + self._runs.cut() + self._take_pending())
        return self._written(rest)

    def _take_pending(self) -> bytes:
        pending, self._pending = self._pending, b""
        return pending

    def _all_that_is_held(self) -> bytes:
        """Everything that came and is not in the file yet, so that the file stands behind a delimiter."""
        undecided = bytes(self._undecided)
        self._undecided.clear()
        if self.mode is None:
            self._detector = ModeDetector()  # a frame or line doesn't run on over a lost link
        whole, rest = self._runs.feed(undecided)
        return self._written(whole + rest + self._runs.cut() + self._lines.cut() + self._take_pending())

    def _commands(self, now_s: float) -> bytes:
        if self.mode == "text":  # a sketch that prints lines hears nothing
            return b""
        describe = self.conversation.described_again(now_s) if self._unfit else b""
        self._unfit = False
        return describe + self.conversation.due(now_s)

    def _read(self, data: bytes, now_s: float) -> list[Item]:
        items = self._reader.feed(data)
        self.conversation.hear(items, now_s)
        return items

    def _written(self, data: bytes) -> bytes:
        self._reader.feed(data)
        return data
