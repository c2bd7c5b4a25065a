"""Frames: Consistent Overhead Byte Stuffing (Cheshire and Baker 1999) around a body that ends in its CRC-32.

A frame is `COBS(body) 0x00`; a body is `type, payload, CRC-32/ISO-HDLC of both, little-endian`. The run is the frame
without its delimiter.
"""

from __future__ import annotations

import zlib
from typing import Final

from cobs import cobs

__all__ = [
    "BODY_LIMIT",
    "BODY_MINIMUM",
    "COMMAND_BODY_LIMIT",
    "CRC_RESET",
    "CRC_RESIDUE",
    "HOST_BODY_LIMIT",
    "RUN_LIMIT_LIVE",
    "RUN_LIMIT_RECORDING",
    "RUN_MINIMUM",
    "BadRunError",
    "body_limit",
    "decode_run",
    "encode_frame",
]

BODY_MINIMUM: Final = 5  # type and CRC
BODY_LIMIT: Final = 512  # of a type under 0x80
COMMAND_BODY_LIMIT: Final = 64
HOST_BODY_LIMIT: Final = 65_536  # of a type from 0x80
RUN_MINIMUM: Final = 6  # 5 bytes and one code byte: a shorter run cannot hold a body
RUN_LIMIT_LIVE: Final = 515  # 512 bytes and one code byte for each 254 begun
RUN_LIMIT_RECORDING: Final = 65_795  # 65,536 bytes, likewise
CRC_RESIDUE: Final = 0x2144DF1C  # CRC-32 over a body that ends in its own CRC: so no body needs to be cut to check it
# After a body whose CRC holds these bytes bring the register back to where it begins, so that one pass over many
# bodies, each with these behind it, gives 0 if all of them hold. (Solved from the polynomial; a body that does not hold
# leaves a difference that no sound one behind it takes away.)
CRC_RESET: Final = bytes.fromhex("81d59d4c")


class BadRunError(ValueError):
    """A run that holds no body; the message says why."""


def body_limit(kind: int) -> int:
    """Most bytes that a body of this type may have, its CRC included."""
    if kind >= 0x80:
        return HOST_BODY_LIMIT
    return COMMAND_BODY_LIMIT if kind == 0x41 else BODY_LIMIT


def encode_frame(content: bytes) -> bytes:
    """The whole frame, delimiter included, of `content`: a type byte and its payload.

    Raises:
        ValueError: no type byte, or a body over its type's limit.
    """
    if not content:
        raise ValueError("a frame needs a type byte")
    if len(content) + 4 > body_limit(content[0]):
        raise ValueError(
            f"a body of type 0x{content[0]:02X} is at most {body_limit(content[0])} bytes, not {len(content) + 4}"
        )
    encoded: bytes = cobs.encode(content + zlib.crc32(content).to_bytes(4, "little"))
    return encoded + b"\0"


def decode_run(run: bytes) -> bytes:
    """The body, type to CRC, of a run without its delimiter, whatever its length.

    Raises:
        BadRunError: COBS or CRC does not hold, or the body is under 5 bytes.
    """
    try:
        body: bytes = cobs.decode(run)
    except cobs.DecodeError:
        raise BadRunError("its COBS does not hold") from None
    if len(body) < BODY_MINIMUM:
        raise BadRunError(f"its body has {len(body)} bytes, under {BODY_MINIMUM}")
    if zlib.crc32(body) != CRC_RESIDUE:
        raise BadRunError(
            f"its CRC is 0x{int.from_bytes(body[-4:], 'little'):08X}, computed 0x{zlib.crc32(body[:-4]):08X}"
        )
    return body
