"""Which recording a file is: known again after it has grown, was moved, or was recorded live and then imported.

A `.qhr` states an id in its HEADER (a field of ours beside those of the format), so it is the same recording from its
first byte on; any other file is known by the SHA-256 of its content.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any, Final

__all__ = ["content_sha256", "identity_of"]

_PIECE: Final = 1 << 20


def content_sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()


def identity_of(header: Any, sha256: str) -> str:
    """From the HEADER's object (None where there is none) and the hash of the content."""
    stated = header.get("id") if isinstance(header, dict) else None
    return f"id:{stated}" if isinstance(stated, str) and 8 <= len(stated) <= 64 else f"sha256:{sha256}"
