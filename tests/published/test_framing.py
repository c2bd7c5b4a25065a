"""Framing against published values: the CRC's check value, byte stuffing's examples, and one whole frame."""

from __future__ import annotations

import zlib

import pytest
import quiethand_protocol as qp
from cobs import cobs
from firmware_protocol.slow_stream import cobs_decode, cobs_encode, crc32_by_bits


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        # The check value of CRC-32/ISO-HDLC, as catalogues of CRC parameters list it.
        (b"123456789", 0xCBF43926),
        # zlib's crc32 of nothing and of one zero byte.
        (b"", 0x00000000),
        (b"\0", 0xD202EF8D),
    ],
)
def test_crc32(data: bytes, crc: int) -> None:
    assert zlib.crc32(data) == crc
    assert crc32_by_bits(data) == crc


EXAMPLES = [
    # Cheshire and Baker, IEEE/ACM Trans. Networking 7(2), 1999: their example packet, as public test suites quote it.
    (bytes.fromhex("45 00 00 2C 4C 79 00 00 40 06 4F 37"), bytes.fromhex("02 45 01 04 2C 4C 79 01 05 40 06 4F 37")),
    # The test suite of the PyPI package cobs: nothing, a zero, and runs about the longest block.
    (b"", b"\x01"),
    (b"\0", b"\x01\x01"),
    (b"\x01" * 253, b"\xfe" + b"\x01" * 253),
    (b"\x01" * 254, b"\xff" + b"\x01" * 254),
    (b"\x01" * 255, b"\xff" + b"\x01" * 254 + b"\x02\x01"),
]


@pytest.mark.parametrize(("data", "encoded"), EXAMPLES)
def test_byte_stuffing(data: bytes, encoded: bytes) -> None:
    assert cobs.encode(data) == cobs_encode(data) == encoded
    assert cobs.decode(encoded) == cobs_decode(encoded) == data


def test_a_decoder_takes_the_form_of_the_papers_own_code() -> None:
    """The paper's C code, as widely copied, closes every block, so that its 254 bytes end in one more 01."""
    closed = b"\xff" + b"\x01" * 254 + b"\x01"
    assert cobs.decode(closed) == cobs_decode(closed) == b"\x01" * 254


def test_whole_frame_of_a_command() -> None:
    """COMMAND describe, request 7; computed from the wire format with zlib's CRC."""
    body = bytes.fromhex("41 07 01 B4 98 5F B6")
    assert zlib.crc32(body[:3]) == int.from_bytes(body[3:], "little")
    frame = bytes.fromhex("08 41 07 01 B4 98 5F B6 00")
    assert qp.encode(qp.Command(7, qp.CommandCode.DESCRIBE)) == frame
    assert qp.decode_run(frame[:-1]) == body
