"""What the page's server refuses, and what it tells the browser to refuse.

Host is checked by Flask itself against TRUSTED_HOSTS (a page elsewhere whose name is made to point at this machine
would else read everything); whoever asks must hold the cookie that a one-time link gave; writes and callbacks must come
from the page itself; nothing is loaded from elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from quiethand_dashboard.access import COOKIE_DAYS, OPEN_PATH, Access

__all__ = ["LOCAL_HOSTS", "guard"]

LOCAL_HOSTS: Final = ("127.0.0.1", "localhost")
MOST_BYTES: Final = 2 * 1024 * 1024  # of a request's body: a page's whole state is some tens of kB
_WRITES: Final = frozenset({"POST", "PUT", "PATCH", "DELETE"})

_CLOSED: Final = """<!DOCTYPE html>
<html lang="en"><head><meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><title>A link is needed</title></head>
<body style="font: 1.1rem/1.5 system-ui, sans-serif; max-width: 38rem; margin: 3rem auto; padding: 0 1rem">
<h1 style="font-size: 1.5rem">This page opens with a link</h1>
<p>{why} Each link opens the page in one browser, once, and that browser may come back as often as it likes.</p>
<p>The terminal that shows the page prints a link. For another one: <code>quiethand dashboard --new-link</code></p>
<p><a href="/">Try again</a></p></body></html>
"""


def guard(server: Flask, script_hashes: Sequence[str], access: Access, hosts: Sequence[str] = LOCAL_HOSTS) -> None:
    """Put the checks and headers on every answer of `server`.

    Args:
        script_hashes: of the scripts that stand in the page itself, as CSP writes them ("'sha256-...'").
        access: who may read the page.
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

    # Hooks run before Flask's own look at the host; `request.host` brings that look forward.
    @server.before_request
    def only_who_may() -> Response | None:
        _ = request.host
        if request.method in _WRITES and not _same_origin():
            abort(403)
        if request.path == OPEN_PATH or access.holds(request.cookies.get(access.cookie)):
            return None
        return _closed("This browser has not opened one yet.", 401)

    @server.get(OPEN_PATH)
    def open_link() -> AnyResponse:
        if request.method == "HEAD" or "prefetch" in request.headers.get("Sec-Purpose", ""):
            return Response(status=503)  # a look ahead must not use the link up
        value = access.open(request.args.get("token", ""))
        if value is None:
            if access.holds(request.cookies.get(access.cookie)):
                return redirect("/", 303)
            return _closed("This link was used already, or is none of this page.", 403)
        answer = redirect("/", 303)
        answer.set_cookie(access.cookie, value, max_age=COOKIE_DAYS * 86400, httponly=True, samesite="Strict", path="/")
        return answer

    @server.after_request
    def headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if response.status_code in (303, 401, 403):
            response.headers["Cache-Control"] = "no-store"
        return response


def _closed(why: str, status: int) -> Response:
    return Response(_CLOSED.format(why=why), status=status, mimetype="text/html")


def _same_origin() -> bool:
    """Sec-Fetch-Site where the browser sends it, else Origin; a program that sends neither is no browser's page."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site == "same-origin"
    origin = request.headers.get("Origin")
    return origin is None or urlsplit(origin).netloc == request.host
