"""What the page's server refuses, and what it tells the browser to refuse.

Host is checked by Flask itself against TRUSTED_HOSTS (a page elsewhere whose name is made to point at this machine
would else read everything); writes and callbacks must come from the page itself; nothing is loaded from elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

__all__ = ["LOCAL_HOSTS", "guard"]

LOCAL_HOSTS: Final = ("127.0.0.1", "localhost")
MOST_BYTES: Final = 2 * 1024 * 1024  # of a request's body: a page's whole state is some tens of kB
_WRITES: Final = frozenset({"POST", "PUT", "PATCH", "DELETE"})


def guard(server: Flask, script_hashes: Sequence[str], hosts: Sequence[str] = LOCAL_HOSTS) -> None:
    """Put the checks and headers on every answer of `server`.

    Args:
        script_hashes: of the scripts that stand in the page itself, as CSP writes them ("'sha256-...'").
        hosts: the names it answers to, without port.
    """
    server.config["TRUSTED_HOSTS"] = list(hosts)
    server.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' {' '.join(dict.fromkeys(script_hashes))}".strip(),
            "style-src 'self' 'unsafe-inline'",  # the widgets and figures set styles as they draw
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "connect-src 'self'",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    )

    @server.before_request
    def only_from_the_page_itself() -> None:
        if request.method in _WRITES and not _same_origin():
            abort(403)

    @server.after_request
    def headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        return response


def _same_origin() -> bool:
    """Sec-Fetch-Site where the browser sends it, else Origin; a program that sends neither is no browser's page."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site == "same-origin"
    origin = request.headers.get("Origin")
    return origin is None or urlsplit(origin).netloc == request.host
