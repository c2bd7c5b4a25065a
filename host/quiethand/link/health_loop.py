"""The shell around a watch of a link: it asks the device to stream, and reads until told to stop."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

from quiethand.link.conversation import Conversation
from quiethand.link.health import LinkHealth, LinkWatch
from quiethand.link.serial_port import Link

__all__ = ["watch_link"]

_SHOW_EVERY_S: Final = 0.5
_NO_ANSWER_AFTER_S: Final = 5.5


def watch_link(
    link: Link,
    *,
    baud: int | None,
    rate_mhz: int | None,
    for_s: float | None,
    stopped: Callable[[], bool],
    show: Callable[[LinkHealth], None],
) -> LinkHealth | None:
    """Watch until `for_s` after the first sample, or until `stopped`; None where nobody answered.

    Args:
        link: open; it stays open, and the device is told to stop.
        baud: what the line can carry, None where that is not known.
        rate_mhz: samples per second x 1000 to ask for; None leaves it.
        for_s: None: until stopped.
        stopped: asked after every read.
        show: called twice a second.

    Raises:
        LinkLost: the other side has gone.
    """
    watch, talk = LinkWatch(baud), Conversation(rate_mhz)
    begun_s = shown_s = time.monotonic()
    talk.link_up(begun_s)
    while not stopped():
        data = link.read()
        now_s = time.monotonic()
        talk.hear(watch.take(data, now_s), now_s)
        health = watch.health() if now_s - shown_s >= _SHOW_EVERY_S else None
        if health is not None:
            shown_s = now_s
            show(health)
            if for_s is not None and health.seconds >= for_s:
                break
            if not health.samples and now_s - begun_s > (for_s or 0) + _NO_ANSWER_AFTER_S:
                if talk.description is None and health.mode != "text":
                    return None
                break
        send = talk.due(now_s)
        if send and watch.mode != "text":
            link.write(send)
    if watch.mode == "binary":
        link.write(talk.farewell())
    return watch.health()
