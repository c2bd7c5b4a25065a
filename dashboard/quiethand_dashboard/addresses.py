"""Where the page is served: which names it answers to, and which of them a tablet on the same network would use."""

from __future__ import annotations

import contextlib
import socket
from typing import Final

from quiethand_dashboard.security import LOCAL_HOSTS

__all__ = ["EVERYWHERE", "names_served", "shown_host"]

EVERYWHERE: Final = ("0.0.0.0", "::")
# An address set apart for documents (RFC 5737): nothing is sent there; asking for the way to it tells our own address.
_ANYWHERE: Final = ("192.0.2.1", 9)


def names_served(host: str) -> list[str]:
    """The names under which a page at `host` is asked for: itself, or all of this machine's where it listens on all."""
    if host in LOCAL_HOSTS:
        return list(LOCAL_HOSTS)
    if host not in EVERYWHERE:
        return [host]
    name = socket.gethostname()
    found = [*LOCAL_HOSTS, name, f"{name}.local", shown_host(host)]
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)]
    return list(dict.fromkeys(found))


def shown_host(host: str) -> str:
    """The host as it stands in a link: where the page listens on all addresses, the one of this machine's network."""
    if host not in EVERYWHERE:
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(_ANYWHERE)
        return str(probe.getsockname()[0])
    return "127.0.0.1"
