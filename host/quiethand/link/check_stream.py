"""Judging a stream: whole frames, the two counters, loss, rate, clock, HEALTH, status bits. Pure."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from quiethand_protocol.items import Blocks, Located
from quiethand_protocol.messages import Description, Reply, Status

from quiethand.link.check_blocks import (
    BlockTable,
    Steps,
    clock_error,
    healths,
    last_description,
    messages,
    steps,
    table,
    troubles,
)
from quiethand.link.check_findings import Finding, advice, fails, fine, not_seen
from quiethand.link.check_loss import STREAM, loss_findings
from quiethand.link.check_talk import Arrival, Evidence

__all__ = ["rate_hz", "stream_findings"]

_RATE_WITHIN: Final = 0.01  # the check's own bound, also for the clock: a rate of turn is wrong by as much
_CLOCK_GOOD_PPM: Final = 1000.0
_LATEST_BLOCK_S: Final = 0.5


def stream_findings(evidence: Evidence) -> list[Finding]:
    arrivals = evidence.during(*STREAM)
    blocks, description = table(arrivals), last_description(evidence.during("stopped"))
    if len(blocks) < 5 or description is None:
        return [not_seen("stream", "samples stream", "too few blocks to judge")]
    went = steps(blocks)
    bad = troubles(arrivals, "bad_frame", "malformed")
    return [
        _whole(evidence),
        _first_block(evidence),
        _index(evidence),
        _ticks(went, blocks, description),
        *loss_findings(evidence),
        _health(evidence),
        _health_samples(arrivals, description),
        _status_bits(evidence, bad),
        _rate(went, description),
        _clock(blocks, description),
        _stamps(arrivals, blocks, description),
        _stands_still(evidence, description),
    ]


def _whole(evidence: Evidence) -> Finding:
    asks = "every frame is whole: COBS, CRC, length"
    arrivals = [arrival for name in evidence.phases if name != "taken_again" for arrival in evidence.during(name)]
    bad, malformed = troubles(arrivals, "bad_frame"), troubles(arrivals, "malformed")
    hosts, unknown = troubles(arrivals, "host_frame"), troubles(arrivals, "unknown", "other_version")
    if bad or malformed:
        do = (
            "print nothing outside frames, or a 0x00 before and after; is the baud rate right and the cable short? "
            "A malformed one is a fault of the encoder: hold it to the vectors"
        )
        return fails("frames", asks, f"{bad} bad and {malformed} malformed of {len(arrivals)} items", do)
    if hosts:
        return fails("frames", asks, f"{hosts} frames of types from 0x80 on", "those types are the host's own")
    if unknown:
        return advice("frames", asks, f"{unknown} frames of unknown types", "readers of this version skip them")
    return fine("frames", asks, f"{evidence.bytes_heard:,} bytes, all of them")


def _first_block(evidence: Evidence) -> Finding:
    asks = "the first block since power-up says so (status bit 2), no other does, and its index is 0"
    blocks = table(evidence.arrivals)
    flagged = np.flatnonzero(blocks.status & Status.FIRST_SINCE_POWER_UP)
    if len(flagged) > 1 or (len(flagged) == 1 and flagged[0] != 0):
        found = f"{len(flagged)} blocks of {len(blocks)} say so"
        return fails("first_block", asks, found, "clear the bit once a block with it was sent, until power-up")
    if len(flagged) == 1:
        if blocks.index[0] != 0 and not blocks.status[0] & Status.LOST_BEFORE:
            found = f"the first block's index is {blocks.index[0]}"
            return fails("first_block", asks, found, "the first sample since power-up is number 0")
        return fine("first_block", asks, "it does")
    if blocks.index[0] == 0:
        do = "set bit 2 in the first block after power-up: a host tells a restart by it"
        return fails("first_block", asks, "index 0 without the bit", do)
    return not_seen("first_block", asks, f"it had streamed before (index {blocks.index[0]}); power-cycle it to see")


def _index(evidence: Evidence) -> Finding:
    asks = "index goes on by the samples in each block, and counts those lost too"
    blocks = table(evidence.during(*STREAM, "taken_again"))
    went = steps(blocks)
    back = int((went.missing < 0).sum())
    if back:
        do = "index is the number of the block's first sample, counted in samples, and never goes back"
        return fails("index", asks, f"it went back, or on by too little, {back} times in {len(blocks)} blocks", do)
    hidden = went.jumps & (went.missing == 0)
    unmoved = went.marked & (went.missing == 0)
    if unmoved.any():
        do = "advance index by the samples lost, then set status bit 0 in the next block"
        found = f"{int(unmoved.sum())} blocks say that samples were lost, and index did not advance"
        return fails("index", asks, found, do)
    if (hidden & (went.ticks > 0)).any():
        do = "samples went missing without being counted: advance index by each sample taken, sent or not"
        found = f"{int(hidden.sum())} times the clock went on by samples that index does not count"
        return fails("index", asks, found, do)
    return fine("index", asks, f"{len(blocks)} blocks follow each other")


def _ticks(went: Steps, blocks: BlockTable, description: Description) -> Finding:
    asks = "ticks only go forward, modulo 2^32, in step with the samples"
    back = int((went.ticks <= 0).sum())
    if back:
        largest = int(blocks.ticks.max())
        bits = max(1, largest.bit_length())
        wrap = f"; none is over 2^{bits}" if bits < 31 else ""
        do = "extend the timer to 32 bits in software: count its wraps, or take differences as unsigned numbers"
        return fails("ticks", asks, f"they went back or stood still {back} times{wrap}", do)
    expected = description.tick_hz / (description.rate_mhz / 1000)
    off = np.abs(went.ticks - (went.missing + blocks.count[1:]) * expected) / description.tick_hz
    if (off > 0.05).any():
        found = f"{int((off > 0.05).sum())} steps are over 50 ms off what index and rate say, up to {off.max():.3f} s"
        return fails("ticks", asks, found, "a step of over 50 ms opens a new segment: stamp samples by one free timer")
    if math.isnan(went.ticks_per_sample):
        return not_seen("ticks", asks, "too few blocks in a row")
    whole = went.whole
    scatter = went.ticks[whole] - blocks.count[1:][whole] * went.ticks_per_sample
    jitter_us = float(np.std(scatter)) / description.tick_hz * 1e6
    if jitter_us > 0.25e6 / (description.rate_mhz / 1000):
        do = "read the clock in the data-ready interrupt, not where the block is sent"
        return advice("ticks", asks, f"they scatter by {jitter_us:.0f} us from block to block", do)
    return fine("ticks", asks, f"they do; they scatter by {jitter_us:.1f} us from block to block")


def _health(evidence: Evidence) -> Finding:
    asks = "HEALTH comes about once a second while it streams"
    phase = evidence.phases["stream"]
    at = [at for at, _ in healths(evidence.during("stream"))]
    seconds = phase.ended_s - phase.begun_s
    found = f"{len(at)} in {seconds:.0f} s"
    do = "send samples taken, samples lost and the supply once a second: it is how a loss in the device is told"
    if not at:
        return fails("health", asks, "none came", do)
    if not 0.6 <= len(at) / seconds <= 1.7 or max(np.diff(at), default=0.0) > 3.0:
        return fails("health", asks, found, do)
    return fine("health", asks, found)


def _health_samples(arrivals: list[Arrival], description: Description) -> Finding:
    asks = "HEALTH counts the samples as index does"
    slack = 64 + 0.1 * description.rate_mhz / 1000
    following: int | None = None
    worst = 0
    count = 0
    for arrival in arrivals:
        if isinstance(arrival.item, Blocks):
            following = int(arrival.item.index[-1]) + int(arrival.item.count[-1])
        elif (reports := healths([arrival])) and following is not None:
            count += 1
            off = (reports[0][1].samples - following + (1 << 31)) % (1 << 32) - (1 << 31)
            worst = max(worst, off, key=abs)
    if not count:
        return not_seen("health_samples", asks, "no HEALTH after a block")
    if abs(worst) > slack:
        do = "HEALTH's samples are all taken since power-up, those lost included: index of the next sample"
        return fails("health_samples", asks, f"off by up to {worst} samples", do)
    return fine("health_samples", asks, f"within {abs(worst)} samples")


def _status_bits(evidence: Evidence, bad: int) -> Finding:
    asks = "every block carries revision and boot of the DESCRIPTION in force"
    in_force: Description | None = None
    wrong = blocks = 0
    for arrival in evidence.arrivals:
        if isinstance(arrival.item, Located) and isinstance(arrival.item.message, Description):
            in_force = arrival.item.message
        elif isinstance(arrival.item, Blocks) and in_force is not None:
            bits = (in_force.revision & 7) << 3 | (in_force.boot & 3) << 6
            wrong += int(((arrival.item.status & 0xF8) != bits).sum())
            blocks += len(arrival.item)
    if wrong:
        do = "send the DESCRIPTION first, then blocks with its revision (bits 3 to 5) and boot (bits 6, 7)"
        verdict = advice if bad and wrong < 0.02 * blocks else fails
        return verdict("status_bits", asks, f"{wrong} of {blocks} blocks carry others", do)
    return fine("status_bits", asks, f"{blocks} blocks do")


def rate_hz(blocks: BlockTable, tick_hz: int) -> float | None:
    """Samples per second by the device's own clock; None where too few blocks follow each other."""
    per_sample = steps(blocks).ticks_per_sample if len(blocks) > 4 else math.nan
    return tick_hz / per_sample if per_sample > 0 else None


def _rate(went: Steps, description: Description) -> Finding:
    asks = "the rate is true to 1 %"
    nominal = description.rate_mhz / 1000
    if not went.ticks_per_sample > 0:
        return not_seen("rate", asks, "too few blocks in a row")
    rate = description.tick_hz / went.ticks_per_sample
    found = f"{rate:,.2f} Hz by its own clock, {nominal:,g} Hz stated ({(rate / nominal - 1) * 100:+.2f} %)"
    if abs(rate / nominal - 1) > _RATE_WITHIN:
        do = "state the rate that the sensor truly has: measure its data-ready line, or read its trim register"
        return fails("rate", asks, found, do)
    return fine("rate", asks, found)


def _clock(blocks: BlockTable, description: Description) -> Finding:
    asks = "its clock runs as tick_hz says"
    error = clock_error(blocks, description.tick_hz)
    if error is None:
        return not_seen("clock", asks, "the clock does not run evenly enough to tell")
    ppm, sigma = error
    found = f"{ppm:+,.0f} +- {sigma:,.0f} ppm against this computer's"
    if abs(ppm) - 2 * sigma > _RATE_WITHIN * 1e6:
        return fails("clock", asks, found, "state the tick_hz that the timer has: its clock over its prescaler")
    if abs(ppm) - 2 * sigma > _CLOCK_GOOD_PPM:
        do = "let the timer run from a crystal: an RC oscillator drifts by 1 % with temperature"
        return advice("clock", asks, found, do)
    return fine("clock", asks, found)


def _stamps(arrivals: list[Arrival], blocks: BlockTable, description: Description) -> Finding:
    """Answers to commands tell when a tick was, so blocks can be held against them."""
    asks = "a block's ticks are of its last sample, and it leaves at once"
    replies = [(at, m.ticks) for at, m in messages(arrivals) if isinstance(m, Reply)]
    if not replies:
        return not_seen("stamps", asks, "no answer while it streamed")

    def late(at: float, ticks: int) -> float:
        since = (ticks - replies[0][1] + (1 << 31)) % (1 << 32) - (1 << 31)
        return at - replies[0][0] - since / description.tick_hz

    edge = min(late(at, ticks) for at, ticks in replies)
    near = blocks.at_s > replies[0][0] - 3.0  # a clock that is off by 1000 ppm is 3 ms off by then
    both = zip(blocks.at_s[near & blocks.last_of_read], blocks.ticks[near & blocks.last_of_read], strict=True)
    waits = [late(float(at), int(ticks)) - edge for at, ticks in both]
    if not waits:
        return not_seen("stamps", asks, "no block near an answer")
    wait = min(waits)  # a busy computer makes some late, a device that holds them back all
    found = f"blocks come {wait * 1000:.1f} ms after their ticks at the soonest, answers taken as prompt"
    if wait < -0.02:
        do = "block and REPLY must read the same clock: when the last sample was taken, when the COMMAND had come"
        return fails("stamps", asks, found, do)
    if wait > _LATEST_BLOCK_S:
        return fails("stamps", asks, found, "send a block once it is full; is the line too slow for the rate?")
    return fine("stamps", asks, found)


def _stands_still(evidence: Evidence, description: Description) -> Finding:
    asks = "index stands still while it is stopped, and goes on from there"
    before, after = table(evidence.during("stream", "busy", "taken_again", "stop")), table(evidence.during("again"))
    if not len(after):
        return not_seen("index_stopped", asks, "it did not start again")
    step = (int(after.index[0] - before.index[-1] - before.count[-1]) + (1 << 31)) % (1 << 32) - (1 << 31)
    if abs(step) > 64 + 0.1 * description.rate_mhz / 1000:
        do = "count samples only between start and stop, since power-up; begin anew at power-up alone"
        return fails("index_stopped", asks, f"it went on by {step:,} over 2 s of being stopped", do)
    return fine("index_stopped", asks, f"{abs(step)} samples apart")
