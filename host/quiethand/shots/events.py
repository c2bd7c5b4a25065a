"""A switch or a light gate beside the estimates: what its edges measured of a shot, and how far the estimate is off.

Pure. An edge is never merged into a figure: it stands beside the estimate, with the difference, and both are shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from quiethand.bow.model import EventInputs, Setup
from quiethand.motion.facts import Mark
from quiethand.shots.model import Rejected, Shot, ShotEvents

__all__ = ["unnamed_channels", "with_events"]

# Edges so far from the estimates are of this shot; the next shot is seconds away, and a hand puts no arrow on sooner.
BEFORE_S: Final = 0.1
AFTER_RELEASE_S: Final = 0.1
AFTER_DEPARTURE_S: Final = 0.1
WITHOUT_RELEASE_S: Final = 0.15  # before departure, where no release was found


def with_events(
    results: Iterable[Shot | Rejected], events: Sequence[Mark], setup: Setup | None
) -> list[Shot | Rejected]:
    """The same results, each shot with what the inputs that the set-up names measured of it.

    Args:
        results: shots and rejections.
        events: edges on the recording's time line, at least those around the shots.
        setup: says which channel is what; None, or none named: nothing is changed.
    """
    inputs = None if setup is None else setup.events
    if inputs is None or (inputs.release_channel is None and inputs.rest_channel is None):
        return list(results)
    return [_measured(result, events, inputs) if isinstance(result, Shot) else result for result in results]


def unnamed_channels(events: Sequence[Mark], setup: Setup | None) -> list[int]:
    """Channels on which edges came and which the set-up does not name."""
    inputs = EventInputs() if setup is None else setup.events
    named = {inputs.release_channel, inputs.rest_channel}
    return sorted({_channel(mark) for mark in events} - named)


def _channel(mark: Mark) -> int:
    return int(str(mark.values["channel"]))


def _edges(events: Sequence[Mark], channel: int, value: int | None, first_s: float, last_s: float) -> list[float]:
    """Times of the edges of one input within a window, rising."""
    return sorted(
        mark.time_s
        for mark in events
        if mark.time_s is not None
        and first_s <= mark.time_s <= last_s
        and _channel(mark) == channel
        and (value is None or mark.values["value"] == value)
    )


def _measured(shot: Shot, events: Sequence[Mark], inputs: EventInputs) -> Shot:
    notes = list(shot.notes)
    release = clear = None
    if inputs.release_channel is not None:
        first = shot.departure_s - WITHOUT_RELEASE_S if shot.release_s is None else shot.release_s - BEFORE_S
        last = shot.departure_s if shot.release_s is None else shot.release_s + AFTER_RELEASE_S
        edges = _edges(events, inputs.release_channel, inputs.release_value, first, last)
        release = edges[0] if edges else None  # a switch bounces: its first edge is the one
        notes.append(_said("release", inputs.release_channel, release, shot.release_s, shot.release_sigma_s))
    if inputs.rest_channel is not None:
        first, last = shot.departure_s - BEFORE_S, shot.departure_s + AFTER_DEPARTURE_S
        if shot.release_s is not None:
            first = max(first, shot.release_s)
        edges = _edges(events, inputs.rest_channel, inputs.rest_value, first, last)
        clear = edges[-1] if edges else None  # fletching flickers in the light: the last edge is the nock's
        notes.append(_said("rest clear", inputs.rest_channel, clear, shot.rest_clear_s, shot.departure_sigma_s))
    measured = ShotEvents(
        measured_release_s=release,
        measured_rest_clear_s=clear,
        release_difference_s=_difference(release, shot.release_s),
        rest_clear_difference_s=_difference(clear, shot.rest_clear_s),
    )
    return replace(shot, events=measured, notes=tuple(notes))


def _difference(measured: float | None, estimate: float | None) -> float | None:
    return None if measured is None or estimate is None else measured - estimate


def _said(what: str, channel: int, measured: float | None, estimate: float | None, sigma: float | None) -> str:
    if measured is None:
        return f"no edge on channel {channel} near this shot: its {what} was not measured"
    if estimate is None:
        return f"measured {what} (channel {channel}); there is no estimate to hold it against"
    off_ms = (measured - estimate) * 1e3
    known = "" if sigma is None else f", whose standard uncertainty is {sigma * 1e3:.2f} ms"
    way = "after" if off_ms >= 0 else "before"
    stands = "the figures keep to the estimate"
    return f"measured {what} (channel {channel}): {abs(off_ms):.2f} ms {way} the estimate{known}; {stands}"
