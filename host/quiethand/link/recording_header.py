"""The HEADER of our recordings: the format's fields, and an id by which the store knows a recording again."""

from __future__ import annotations

import json
from typing import Final

from quiethand_protocol.framing import BadRunError, decode_run, encode_frame
from quiethand_protocol.messages import MessageType

__all__ = ["HEADER_LIMIT", "header_frame", "header_object"]

HEADER_LIMIT: Final = 4096  # bytes at the start of a file within which a HEADER is looked for


def header_frame(created: str, software: str, recording_id: str) -> bytes:
    """The first frame of a recording; `created` after RFC 3339."""
    fields = {"format": "qhr", "version": 1, "created": created, "software": software, "id": recording_id}
    return encode_frame(bytes([MessageType.HEADER]) + json.dumps(fields, ensure_ascii=False).encode())


def header_object(start: bytes) -> dict[str, object] | None:
    """The HEADER's object from the first bytes of a file; None where it does not open with a sound one."""
    run, delimiter, _ = start.lstrip(b"\0").partition(b"\0")
    if not delimiter:
        return None
    try:
        body = decode_run(run)
        fields = json.loads(body[1:-4]) if body[0] == MessageType.HEADER else None
    except (BadRunError, ValueError):
        return None
    return fields if isinstance(fields, dict) else None
