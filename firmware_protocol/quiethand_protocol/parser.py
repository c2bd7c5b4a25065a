"""The parser: bytes in, items out, nothing else. No input raises, hangs, or makes it hold more than one run.

Bytes may come in any pieces: the items are the same once neighbours are merged (`merge_items`). Time is linear in the
bytes. A SAMPLES frame never becomes a Python object: whole runs of them come out as one `Blocks`.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quiethand_protocol import bulk
from quiethand_protocol.bulk import sort_runs
from quiethand_protocol.decoding import MalformedError, OtherVersionError, decode_payload
from quiethand_protocol.framing import RUN_LIMIT_LIVE, RUN_LIMIT_RECORDING, BadRunError, body_limit, decode_run
from quiethand_protocol.items import Blocks, Item, Located, Trouble, TroubleKind, merged_trouble
from quiethand_protocol.messages import Gap, Header, MessageType

__all__ = ["Parser", "Source"]

Source: TypeAlias = Literal["device", "recording", "host"]

_PIECE: Final = 1 << 20  # bytes worked on at once: bounds what a single large feed takes on top of its items
_WHY: Final = {
    bulk.OVERLONG: "the run is overlong",
    bulk.BAD_COBS: "its COBS does not hold",
    bulk.TOO_SHORT: "its body is under 5 bytes",
    bulk.BAD_CRC: "its CRC does not hold",
}
_NO_DELIMITER: Final = "the last run has no delimiter"


class Parser:
    """Reads one stream.

    Args:
        source: "recording" for a `.qhr`, a raw capture, or bytes as recorded; "device" for bytes straight from a
            device; "host" for what a device hears, where COMMAND is the only message.

    Attributes:
        bytes_fed: bytes taken so far.
        frames: sound frames, SAMPLES included.
        blocks: SAMPLES frames among them.
        samples: samples in these.
        bad_frames, joined_mid_frame, malformed, unknown, host_frames_from_device, other_versions: runs of each sort,
            a run in one of them only.
        bad_bytes: bytes in bad frames and in a bad first run, delimiters not counted.
        refused: why nothing more is read (a HEADER of another format or version), or None.
        mode: "binary" or "text" once a device's frame or a TEXT frame said so.
    """

    def __init__(self, source: Source) -> None:
        self.source: Final[Source] = source
        self.bytes_fed = 0
        self.frames = self.blocks = self.samples = 0
        self.bad_frames = self.joined_mid_frame = self.malformed = self.unknown = 0
        self.host_frames_from_device = self.other_versions = 0
        self.bad_bytes = 0
        self.refused: str | None = None
        self.mode: Literal["binary", "text"] | None = None
        self._run_limit = RUN_LIMIT_RECORDING if source == "recording" else RUN_LIMIT_LIVE
        self._held = bytearray()  # the run begun, up to its limit
        self._let_go = 0  # bytes of it no longer held, once it is overlong
        self._run_offset = 0
        self._before_first_delimiter = True
        self._before_first_device_run = False  # after HEADER or GAP
        self._versions_said: set[int] = set()

    def feed(self, data: bytes) -> list[Item]:
        """Take the next bytes and give what they complete, in stream order. Never raises on any bytes."""
        items: list[Item] = []
        data = bytes(data)
        for at in range(0, len(data), _PIECE):
            self._feed(data[at : at + _PIECE], items)
        return items

    def finish(self) -> list[Item]:
        """Say that no more bytes come: a run without its delimiter is one bad frame, even if its CRC holds."""
        items: list[Item] = []
        length = len(self._held) + self._let_go
        if length and self.refused is None:
            self.bad_frames += 1
            self.bad_bytes += length
            items.append(
                Trouble("bad_frame", self._run_offset, length, _NO_DELIMITER, detail=f"{length} bytes, cut off")
            )
        self._held.clear()
        self._let_go = 0
        self._run_offset = self.bytes_fed
        return items

    def _feed(self, data: bytes, items: list[Item]) -> None:
        self.bytes_fed += len(data)
        if self.refused is not None:
            return
        runs = data.split(b"\0")
        tail = runs.pop()
        if runs:
            lengths = np.fromiter(map(len, runs), np.int64, len(runs))
            if self._held or self._let_go:
                lengths[0] += len(self._held) + self._let_go
                runs[0] = b"" if self._let_go else bytes(self._held) + runs[0]
                self._held.clear()
                self._let_go = 0
            ends = np.cumsum(lengths + 1) + self._run_offset
            self._run_offset = int(ends[-1])
            if self._before_first_delimiter and lengths[0] == 0:
                self._before_first_delimiter = False
            if not lengths.all():
                filled = lengths > 0
                # An overlong run that was let go has length but no bytes here, so select by length.
                runs = [run for run, keep in zip(runs, filled.tolist(), strict=True) if keep]
                lengths, ends = lengths[filled], ends[filled]
            if runs:
                self._take(runs, lengths, ends, items)
        self._hold(tail)

    def _hold(self, tail: bytes) -> None:
        if self._let_go:
            self._let_go += len(tail)
        elif len(self._held) + len(tail) > self._run_limit:
            self._let_go = len(self._held) + len(tail)
            self._held.clear()
        else:
            self._held += tail

    def _take(self, runs: list[bytes], lengths: NDArray[np.int64], ends: NDArray[np.int64], items: list[Item]) -> None:
        offsets = ends - lengths - 1
        found = sort_runs(runs, lengths, offsets, self._run_limit, self.source != "host")
        sort = found.sort
        edges = [0, *(np.flatnonzero(sort[1:] != sort[:-1]) + 1).tolist(), len(sort)]
        block, sample = 0, 0
        for first, last in pairwise(edges):
            kind = int(sort[first])
            if kind == bulk.SAMPLES:
                chosen = slice(block, block + last - first)
                size = int(found.samples.count[chosen].sum(dtype=np.int64))
                self._blocks(_cut(found.samples, chosen, slice(sample, sample + size)), int(ends[last - 1]), items)
                block, sample = chosen.stop, sample + size
            elif kind == bulk.OTHER:
                for i in range(first, last):
                    self._other(found.bodies[i], int(offsets[i]), int(ends[i]), items)
                    if self.refused is not None:
                        return
            else:
                self._bad(kind, runs[first:last], lengths[first:last], ends[first:last], items)
            self._before_first_delimiter = False

    def _blocks(self, blocks: Blocks, end: int, items: list[Item]) -> None:
        self._before_first_device_run = False
        if self.mode == "text":
            offset = int(blocks.offset[0])
            why = "a binary frame in a recording of text mode"
            self._trouble(items, "malformed", why, offset, end, len(blocks))
            return
        self.mode = "binary"
        self.frames += len(blocks)
        self.blocks += len(blocks)
        self.samples += len(blocks.counts)
        items.append(blocks)

    def _bad(
        self, kind: int, runs: list[bytes], lengths: NDArray[np.int64], ends: NDArray[np.int64], items: list[Item]
    ) -> None:
        self.bad_bytes += int(lengths.sum())
        offsets = (ends - lengths - 1).tolist()
        first = 0
        if self._before_first_delimiter or self._before_first_device_run:
            self._before_first_device_run = False
            detail = _fault(kind, runs[0], int(lengths[0]))
            self._trouble(items, "joined", _WHY[kind], offsets[0], int(ends[0]), detail=detail)
            first = 1
        if first < len(runs):
            detail = _fault(kind, runs[first], int(lengths[first]))
            count = len(runs) - first
            self._trouble(items, "bad_frame", _WHY[kind], offsets[first], int(ends[-1]), count, detail)

    def _other(self, body: bytes, offset: int, end: int, items: list[Item]) -> None:
        """One frame whose CRC holds and that is not sound SAMPLES."""
        kind, payload = body[0], body[1:-4]
        if kind < 0x80:
            self._before_first_device_run = False
        elif self.source == "device":
            self._trouble(items, "host_frame", "a host's frame from a device", offset, end, detail=f"type 0x{kind:02X}")
            return
        if self.source == "recording" and (0 < kind < 0x40 or kind == MessageType.TEXT):
            mode: Literal["binary", "text"] = "text" if kind == MessageType.TEXT else "binary"
            if self.mode is not None and mode != self.mode:
                why = f"a {mode} frame in a recording of {self.mode} mode"
                self._trouble(items, "malformed", why, offset, end, detail=f"type 0x{kind:02X}")
                return
            self.mode = mode
        if len(body) > body_limit(kind):
            detail = f"type 0x{kind:02X}: {len(body)} bytes, over {body_limit(kind)}"
            self._trouble(items, "malformed", "its body is over its type's limit", offset, end, detail=detail)
            return
        if (kind == MessageType.COMMAND) != (self.source == "host"):
            self._trouble(items, "unknown", "its type is unknown here", offset, end, detail=f"type 0x{kind:02X}")
            return
        try:
            if kind == MessageType.SAMPLES:
                raise MalformedError(_samples_fault(payload))
            message = decode_payload(kind, payload)
        except MalformedError as error:
            detail = f"type 0x{kind:02X}: {error}"
            self._trouble(items, "malformed", "its payload does not fit its type", offset, end, detail=detail)
            return
        except OtherVersionError as error:
            self.other_versions += 1
            if error.version not in self._versions_said:
                self._versions_said.add(error.version)
                items.append(Trouble("other_version", offset, end - offset, str(error), detail="ignored"))
            return
        if message is None:
            self._trouble(items, "unknown", "its type is unknown here", offset, end, detail=f"type 0x{kind:02X}")
            return
        self.frames += 1
        if isinstance(message, Header):
            if (message.format, message.version) != ("qhr", 1):
                self.refused = f"format {message.format!r:.40}, version {message.version}, not 'qhr', version 1"
                why = "a HEADER of another format or version"
                items.append(Trouble("refused", offset, end - offset, why, detail=self.refused))
                return
            self.mode = None
        if isinstance(message, Header | Gap):
            self._before_first_device_run = True
        items.append(Located(offset, end, message))

    def _trouble(
        self,
        items: list[Item],
        kind: TroubleKind,
        why: str,
        offset: int,
        end: int,
        count: int = 1,
        detail: str = "",
    ) -> None:
        match kind:
            case "bad_frame":
                self.bad_frames += count
            case "joined":
                self.joined_mid_frame += count
            case "malformed":
                self.malformed += count
            case "unknown":
                self.unknown += count
            case "host_frame":
                self.host_frames_from_device += count
        new = Trouble(kind, offset, end - offset, why, count, detail)
        # Neighbours become one, so that a megabyte of rubbish is not a hundred thousand objects.
        last = items[-1] if items else None
        both = merged_trouble(last, new) if isinstance(last, Trouble) else None
        if both is not None:
            items[-1] = both
        else:
            items.append(new)


def _cut(blocks: Blocks, chosen: slice, samples: slice) -> Blocks:
    return Blocks(
        blocks.offset[chosen],
        blocks.index[chosen],
        blocks.ticks[chosen],
        blocks.count[chosen],
        blocks.status[chosen],
        blocks.temperature[chosen],
        blocks.counts[samples],
    )


def _fault(kind: int, run: bytes, length: int) -> str:
    """The offending values of one bad run."""
    if kind == bulk.BAD_CRC:
        try:
            decode_run(run)
        except BadRunError as error:
            return f"{length} bytes: {error}"
    return f"{length} bytes"


def _samples_fault(payload: bytes) -> str:
    if len(payload) < 12:
        return f"its payload has {len(payload)} bytes and needs 24"
    count = payload[8]
    if not 1 <= count <= 32:
        return f"count is {count}, not 1 to 32"
    return f"its payload has {len(payload)} bytes and needs {12 + 12 * count}"
