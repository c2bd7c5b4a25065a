"""A slow, obvious reader of the framing to hold the quick parser against: byte by byte, nothing shared with it."""

from __future__ import annotations


def crc32_by_bits(data: bytes) -> int:
    """CRC-32/ISO-HDLC, one bit after the other."""
    register = 0xFFFFFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = (register >> 1) ^ (0xEDB88320 if register & 1 else 0)
    return register ^ 0xFFFFFFFF


def cobs_encode(data: bytes) -> bytes:
    """Byte stuffing; a final full run of 254 closes without one more 0x01."""
    out, block = bytearray(), bytearray()
    for position, byte in enumerate(data):
        if byte:
            block.append(byte)
        if byte == 0 or (len(block) == 254 and position + 1 < len(data)):
            out += bytes([len(block) + 1]) + block
            block.clear()
    return bytes(out + bytes([len(block) + 1]) + block)


def cobs_decode(run: bytes) -> bytes | None:
    """None where the stuffing does not hold: a zero byte inside, or a code that points behind the end."""
    out, at = bytearray(), 0
    while at < len(run):
        code = run[at]
        block = run[at + 1 : at + code]
        if code == 0 or len(block) != code - 1 or 0 in block:
            return None
        at += code
        out += block
        if code < 255 and at < len(run):
            out.append(0)
    return bytes(out)


def sort_of_runs(data: bytes, limit: int) -> list[tuple[int, int, str]]:
    """(offset, end, sort) of every non-empty run: "bad", or the type byte in hex where the CRC holds."""
    found, start = [], 0
    while start < len(data):
        end = data.find(b"\0", start)
        run = data[start:] if end < 0 else data[start:end]
        stop = len(data) if end < 0 else end + 1
        if run:
            body = cobs_decode(run) if len(run) <= limit and end >= 0 else None
            good = body is not None and len(body) >= 5 and crc32_by_bits(body[:-4]).to_bytes(4, "little") == body[-4:]
            found.append((start, stop, f"{body[0]:02X}" if good and body is not None else "bad"))
        start = stop
    return found
