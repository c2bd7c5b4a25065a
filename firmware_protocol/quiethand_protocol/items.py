"""What a parser gives back: blocks of samples, other messages with their place, and what was wrong with its place.

Offsets count bytes from the first one fed, and point at the first byte of a run; an end lies behind its delimiter.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quiethand_protocol.messages import Message

__all__ = ["Blocks", "Item", "Located", "Trouble", "TroubleKind", "merge_items"]

TroubleKind: TypeAlias = Literal[
    "bad_frame",  # overlong, COBS, CRC, body under 5 bytes, or no delimiter at the end
    "joined",  # a bad first run: the stream was joined in mid-frame
    "malformed",  # its CRC holds, but the body is over its limit or does not fit its type
    "unknown",  # a type that is not of this version, or not of this direction
    "host_frame",  # a host's frame that came from a device
    "other_version",  # a DESCRIPTION of another version: said once for each version
    "refused",  # a HEADER of another format or version: nothing is read from there on
]


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """A run of k consecutive SAMPLES frames with m samples in all, nothing between them but empty runs."""

    offset: NDArray[np.int64]  # (k,) of each frame
    index: NDArray[np.uint32]  # (k,) of each block's first sample
    ticks: NDArray[np.uint32]  # (k,) of each block's last sample
    count: NDArray[np.uint8]  # (k,) samples in each block
    status: NDArray[np.uint8]  # (k,)
    temperature: NDArray[np.int16]  # (k,) 0.01 degC, 0x7FFF unknown
    counts: NDArray[np.int16]  # (m, 6) ax ay az gx gy gz, all blocks' samples one after the other

    def __len__(self) -> int:
        return len(self.index)


@dataclass(frozen=True, slots=True)
class Located:
    """One message that is not SAMPLES, and the bytes it came in."""

    offset: int
    end: int
    message: Message


@dataclass(frozen=True, slots=True)
class Trouble:
    """One or more consecutive runs that gave no message, all for the same reason."""

    kind: TroubleKind
    offset: int
    length: int  # to the end of the last of them, delimiters included
    why: str  # the same words for the same reason
    count: int = 1  # runs
    detail: str = ""  # the offending values of the first of them

    @property
    def end(self) -> int:
        return self.offset + self.length


Item: TypeAlias = Blocks | Located | Trouble


def _joined(first: Blocks, second: Blocks) -> Blocks:
    return Blocks(*(np.concatenate([getattr(first, f.name), getattr(second, f.name)]) for f in fields(Blocks)))


def merge_items(items: Iterable[Item]) -> list[Item]:
    """The same items with neighbours of one sort made one: what does not depend on how the bytes were cut."""
    merged: list[Item] = []
    for item in items:
        last = merged[-1] if merged else None
        if isinstance(item, Blocks) and isinstance(last, Blocks):
            merged[-1] = _joined(last, item)
        elif isinstance(item, Trouble) and isinstance(last, Trouble) and (item.kind, item.why) == (last.kind, last.why):
            merged[-1] = Trouble(
                last.kind, last.offset, item.end - last.offset, last.why, last.count + item.count, last.detail
            )
        else:
            merged.append(item)
    return merged
