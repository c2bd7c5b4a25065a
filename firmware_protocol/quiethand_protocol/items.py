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

__all__ = [
    "Blocks",
    "Item",
    "Located",
    "TextBlock",
    "TextItem",
    "TextUnits",
    "Trouble",
    "TroubleKind",
    "merge_items",
    "merge_text_items",
    "merged_trouble",
]

TroubleKind: TypeAlias = Literal[
    "bad_frame",  # overlong, COBS, CRC, body under 5 bytes, or no delimiter at the end
    "joined",  # a bad first run: the stream was joined in mid-frame
    "malformed",  # its CRC holds, but the body is over its limit or does not fit its type
    "unknown",  # a type that is not of this version, or not of this direction
    "host_frame",  # a host's frame that came from a device
    "other_version",  # a DESCRIPTION of another version: said once for each version
    "line",  # a line of text mode that does not parse
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


@dataclass(frozen=True, slots=True)
class TextUnits:
    """What the unit comments of a text-mode stream have said so far; None where they said nothing."""

    accel: Literal["m/s2", "g", "counts"] | None = None
    gyro: Literal["rad/s", "deg/s", "counts"] | None = None
    accel_scale: float | None = None  # m/s2 per count
    gyro_scale: float | None = None  # rad/s per count


@dataclass(frozen=True, slots=True, eq=False)
class TextBlock:
    """n consecutive data lines of text mode, in the units of their own time (see `units`)."""

    offset: NDArray[np.int64]  # (n,) of each line; of its frame where it came in a TEXT frame
    t_us: NDArray[np.uint64]  # (n,) as sent
    step_us: NDArray[np.int64]  # (n,) since the line before, wraps undone; 0 where a segment opens
    opens_segment: NDArray[np.bool_]  # (n,) the first line, and the first after a restart or a gap
    values: NDArray[np.float64]  # (n, 6) ax ay az gx gy gz
    units: TextUnits  # in force for all of them

    def __len__(self) -> int:
        return len(self.t_us)


Item: TypeAlias = Blocks | Located | Trouble
TextItem: TypeAlias = TextBlock | Trouble


def _merged_blocks(first: Blocks, second: Blocks) -> Blocks:
    return Blocks(*(np.concatenate([getattr(first, f.name), getattr(second, f.name)]) for f in fields(Blocks)))


def _merged_text(first: TextBlock, second: TextBlock) -> TextBlock:
    return TextBlock(
        np.concatenate([first.offset, second.offset]),
        np.concatenate([first.t_us, second.t_us]),
        np.concatenate([first.step_us, second.step_us]),
        np.concatenate([first.opens_segment, second.opens_segment]),
        np.concatenate([first.values, second.values]),
        first.units,
    )


def merged_trouble(first: Trouble, second: Trouble) -> Trouble | None:
    """Two neighbours as one, or None if they differ in kind or reason."""
    if (first.kind, first.why) != (second.kind, second.why):
        return None
    length, count = second.end - first.offset, first.count + second.count
    return Trouble(first.kind, first.offset, length, first.why, count, first.detail)


def merge_items(items: Iterable[Item]) -> list[Item]:
    """The same items with neighbours of one sort made one: what does not depend on how the bytes were cut."""
    merged: list[Item] = []
    for item in items:
        one: Item | None = None
        match (merged[-1] if merged else None), item:
            case Blocks() as last, Blocks():
                one = _merged_blocks(last, item)
            case Trouble() as last, Trouble():
                one = merged_trouble(last, item)
        if one is not None:
            merged[-1] = one
        else:
            merged.append(item)
    return merged


def merge_text_items(items: Iterable[TextItem]) -> list[TextItem]:
    """The same for text mode."""
    merged: list[TextItem] = []
    for item in items:
        one: TextItem | None = None
        match (merged[-1] if merged else None), item:
            case TextBlock() as last, TextBlock() if last.units == item.units:
                one = _merged_text(last, item)
            case Trouble() as last, Trouble():
                one = merged_trouble(last, item)
        if one is not None:
            merged[-1] = one
        else:
            merged.append(item)
    return merged
