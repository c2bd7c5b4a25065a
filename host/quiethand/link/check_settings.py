"""Judging what a device makes of set rate and set ranges: answered, announced, and done. Pure."""

from __future__ import annotations

from typing import Final

import numpy as np
from quiethand_protocol.messages import Description

from quiethand.link.check_blocks import BlockTable, last_description, messages, table
from quiethand.link.check_findings import Finding, fails, fine, not_seen
from quiethand.link.check_script import full_scales
from quiethand.link.check_stream import rate_hz
from quiethand.link.check_talk import Evidence

__all__ = ["settings_findings"]

_WITHIN: Final = 0.01
_SCALE_WITHIN: Final = 0.2  # a bow in a hand sways by less, and ranges lie a factor of 2 apart


def settings_findings(evidence: Evidence) -> list[Finding]:
    return [
        _announced(evidence, "rate", ("rate", "rate_up")),
        _rate_is_true(evidence),
        _restored(evidence, "rate_back"),
        _announced(evidence, "ranges", ("ranges", "ranges_up")),
        _ranges_are_true(evidence),
        _restored(evidence, "ranges_back"),
    ]


def _before(evidence: Evidence, phase: str) -> Description | None:
    """The description in force as a phase began."""
    return last_description(evidence.arrivals[: evidence.phases[phase].first]) if phase in evidence.phases else None


def _changed(one: Description, other: Description) -> bool:
    return (one.rate_mhz, one.accel_scale, one.gyro_scale) != (other.rate_mhz, other.accel_scale, other.gyro_scale)


def _tried(evidence: Evidence, phases: tuple[str, str]) -> str:
    """The phase in which the setting changed; else the last that was tried; "" for none."""
    reached = [name for name in phases if name in evidence.phases]
    for name in reached:
        before, after = _before(evidence, name), last_description(evidence.during(name, f"{name}_asked"))
        if before is not None and after is not None and _changed(before, after):
            return name
    return reached[-1] if reached else ""


def _announced(evidence: Evidence, what: str, phases: tuple[str, str]) -> Finding:
    command = "set rate" if what == "rate" else "set ranges"
    name = f"set_{what}"
    asks = f"{command} is answered, and a DESCRIPTION with another revision follows a change"
    phase = _tried(evidence, phases)
    before = _before(evidence, phase)
    if before is None:
        return not_seen(name, asks, "the check did not come so far")
    asked = evidence.answers(name)
    do = f"answer {command}, do it between blocks, count revision up, and send DESCRIPTION before the next block"
    if all(a.reply is None for a in asked):
        return fails(name, asks, "no answer", do)
    refused = [a.reply.result for a in asked if a.reply is not None and a.reply.result]
    unasked, after = (
        last_description(evidence.during(phase)),
        last_description(evidence.during(phase, f"{phase}_asked")),
    )
    if after is None or not _changed(before, after):
        measured = rate_hz(table(evidence.during(phase)), before.tick_hz)
        if what == "rate" and measured and abs(measured * 1000 / before.rate_mhz - 1) > 0.1:
            found = f"it samples at {measured:,.0f} Hz now, and DESCRIPTION still says {before.rate_mhz / 1000:g} Hz"
            return fails(name, asks, found, do)
        why = f" (result {refused[0]})" if refused else ""
        return fine(name, asks, f"answered{why}; it has but one" + (" that is near" if what == "ranges" else ""))
    if unasked is None or not _changed(before, unasked):
        return fails(name, asks, "the change was told only when describe asked for it", do)
    if after.revision == before.revision:
        return fails(name, asks, f"revision stayed at {after.revision}", do)
    return fine(name, asks, f"answered and announced, revision {before.revision} to {after.revision}")


def _rate_is_true(evidence: Evidence) -> Finding:
    asks = "after set rate it samples at the rate it states, to 1 %"
    phase = _tried(evidence, ("rate", "rate_up"))
    after = last_description(evidence.during(phase, f"{phase}_asked")) if phase else None
    before = _before(evidence, phase)
    if before is None or after is None or not _changed(before, after):
        return not_seen("rate_set", asks, "the rate did not change")
    rate = rate_hz(_in_force(evidence, phase, after), after.tick_hz)
    if rate is None:
        return fails("rate_set", asks, "no samples after it", "go on streaming with the new rate")
    found = f"{rate:,.2f} Hz, {after.rate_mhz / 1000:,g} Hz stated"
    if abs(rate * 1000 / after.rate_mhz - 1) > _WITHIN:
        return fails("rate_set", asks, found, "state what the sensor does, and do what is stated")
    return fine("rate_set", asks, found)


def _ranges_are_true(evidence: Evidence) -> Finding:
    asks = "after set ranges counts have the scale it states"
    phase = _tried(evidence, ("ranges", "ranges_up"))
    before = _before(evidence, phase)
    after = last_description(evidence.during(phase, f"{phase}_asked")) if phase else None
    if before is None or after is None or after.accel_scale == before.accel_scale:
        return not_seen("ranges_set", asks, "the accelerometer's range did not change")
    asked = [a for a in evidence.answers("set_ranges") if a.reply is not None]
    earlier = _gravity(table(evidence.during("rate_back")), before)
    later = _gravity(_in_force(evidence, phase, after), after)
    if not asked or earlier is None or later is None:
        return fails("ranges_set", asks, "no samples after it", "go on streaming with the new range")
    scales = " and ".join(f"{full:.4g} {unit}" for full, unit in zip(full_scales(after), ("g", "deg/s"), strict=True))
    found = f"{earlier:.2f} m/s2 before, {later:.2f} after; now {scales}"
    if abs(later / earlier - 1) > _SCALE_WITHIN:
        do = "write the sensor's range register and the scale in DESCRIPTION in one place; drop samples in between"
        return fails("ranges_set", asks, found, do)
    return fine("ranges_set", asks, found)


def _in_force(evidence: Evidence, phase: str, description: Description) -> BlockTable:
    """The blocks of a phase that carry this description's revision."""
    arrivals = evidence.during(phase, f"{phase}_asked")
    blocks = table(arrivals)
    chosen = blocks.status >> 3 & 7 == description.revision & 7
    samples = np.repeat(chosen, blocks.count)
    return BlockTable(
        blocks.at_s[chosen], blocks.last_of_read[chosen], blocks.index[chosen], blocks.ticks[chosen],
        blocks.count[chosen], blocks.status[chosen], blocks.counts[samples],
    )  # fmt: skip


def _gravity(blocks: BlockTable, description: Description) -> float | None:
    if blocks.samples < 50:
        return None
    size = np.linalg.norm(blocks.counts[:, :3].astype(np.float64), axis=1)
    return float(np.median(size)) * description.accel_scale or None  # 0: a sensor that reads nothing


def _restored(evidence: Evidence, phase: str) -> Finding:
    what = phase.removesuffix("_back")
    asks = f"set {what} back to what it was is done as well"
    name = f"{what}_restored"
    first = last_description(evidence.during("stopped"))
    if first is None or phase not in evidence.phases:
        return not_seen(name, asks, "the check did not come so far")
    said = [m for _, m in messages(evidence.arrivals[: evidence.phases[phase].end]) if isinstance(m, Description)]
    last = said[-1]
    same = last.rate_mhz == first.rate_mhz if what == "rate" else not _changed(last, first)
    if not same:
        rate, scales = f"{last.rate_mhz / 1000:g} Hz", " and ".join(f"{full:.4g}" for full in full_scales(last))
        do = "the nearest rate is taken, and the nearest range that is not smaller"
        return fails(name, asks, f"it stands at {rate}, {scales} (g, deg/s) now", do)
    return fine(name, asks, "it is as it was")
