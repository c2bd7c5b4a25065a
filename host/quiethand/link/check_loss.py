"""Judging whether a device owns up to what it loses: by status bit 0, and in HEALTH. Pure."""

from __future__ import annotations

from typing import Final

from quiethand_protocol.items import Located
from quiethand_protocol.messages import Health

from quiethand.link.check_blocks import Steps, healths, steps, table, troubles
from quiethand.link.check_findings import Finding, fails, fine, not_seen
from quiethand.link.check_talk import Arrival, Evidence

__all__ = ["STREAM", "loss_findings"]

STREAM: Final = ("stream", "busy")  # phases in which a device streams and everything is taken
_BLOCK_MOST: Final = 32  # samples; HEALTH may be made up just before or just after one is put away


def loss_findings(evidence: Evidence) -> list[Finding]:
    """Whether loss is owned up to: what was lost by itself, and while nothing was taken from the line."""
    held = evidence.during("taken_again")
    phase = evidence.phases["held"]
    nothing_taken = f"while nothing was taken for {phase.ended_s - phase.begun_s:.1f} s"
    line_lost = troubles(held, "bad_frame", "malformed")  # a port without flow control drops bytes, not the device
    arrivals = evidence.during(*STREAM) + ([] if line_lost else held)
    bad = troubles(arrivals, "bad_frame", "malformed")
    blocks = table(arrivals)
    went = steps(blocks)
    if line_lost:
        untried = f"not tried: {nothing_taken}, it was the line that lost what came"
    else:
        untried = f"not tried: nothing was lost, even {nothing_taken} (the line holds it)"
    return [_loss_marked(went, bad, untried), _loss_counted(arrivals, untried)]


def _loss_marked(went: Steps, bad: int, untried: str) -> Finding:
    asks = "a block after samples lost in the device says so (status bit 0)"
    gaps = int(went.gaps.sum())
    unmarked = int((went.gaps & ~went.marked).sum())
    if not gaps:
        return not_seen("loss_marked", asks, untried)
    if unmarked > bad:  # each bad frame may have been a block
        do = "set bit 0 in the next block; if the device lost nothing, the line did: a shorter cable, a higher baud"
        return fails("loss_marked", asks, f"{unmarked} of {gaps} gaps in index came without it", do)
    return fine("loss_marked", asks, f"{gaps - unmarked} of {gaps} gaps; {bad} bad frames are the line's")


def _loss_counted(arrivals: list[Arrival], untried: str) -> Finding:
    asks = "HEALTH counts what the device lost"
    reports = healths(arrivals)
    if len(reports) < 2:
        return not_seen("loss_counted", asks, "fewer than two HEALTH messages")
    told = (reports[-1][1].lost - reports[0][1].lost) % (1 << 32)
    seen, astride = _marked_between(arrivals)
    if not seen and not told:
        return not_seen("loss_counted", asks, untried)
    if abs(told - seen) > astride + _BLOCK_MOST:
        do = "count every sample that index passed over, since power-up"
        return fails("loss_counted", asks, f"HEALTH says {told}, index says {seen}", do)
    return fine("loss_counted", asks, f"{told} samples by HEALTH, {seen} by index")


def _marked_between(arrivals: list[Arrival]) -> tuple[int, int]:
    """Samples missing by index and marked as lost in the device, between the first and the last HEALTH; and astride of
    one of the two, where HEALTH may know of them before or after index does."""
    places = [n for n, a in enumerate(arrivals) if isinstance(a.item, Located) and isinstance(a.item.message, Health)]

    def marked(part: list[Arrival]) -> int:
        went = steps(table(part))
        return int(went.missing[went.gaps & went.marked].sum())

    within = marked(arrivals[places[0] : places[-1]])
    return within, marked(arrivals) - marked(arrivals[: places[0]]) - within - marked(arrivals[places[-1] :])
