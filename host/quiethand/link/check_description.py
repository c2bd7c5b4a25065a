"""Judging what a device says of itself: complete, sane, the same each time, and said when it must be. Pure."""

from __future__ import annotations

from typing import Final

import numpy as np
from quiethand_protocol.messages import UNKNOWN_DELAY_US, CommandCode, Description, Reply

from quiethand.link.check_blocks import last_description, messages, table
from quiethand.link.check_findings import Finding, advice, fails, fine, not_seen
from quiethand.link.check_script import full_scales
from quiethand.link.check_talk import Evidence

__all__ = ["description_findings"]

_G: Final = 9.80665
# Full scales outside of these are of no 6-axis sensor for motion: a slip of unit (g for m/s2, degrees for radians).
_ACCEL_G: Final = (1.0, 1000.0)
_GYRO_DEG_S: Final = (50.0, 20_000.0)
_ENOUGH_G: Final = 12.0  # a bow's push is several g, its shock beyond any range
_ENOUGH_DEG_S: Final = 240.0
_LONGEST_DELAY_US: Final = 20_000  # later than this it would show a shot after the arrow has gone
_LEAST_TICKS: Final = 50  # in a sample's period
_DESCRIBED_BY_S: Final = 11.0  # of streaming; the wire format says every 10 s


def description_findings(evidence: Evidence) -> list[Finding]:
    description = last_description(evidence.during("before", "describe", "first_stop", "stopped"))
    if description is None:
        do = "answer describe with a REPLY and a DESCRIPTION"
        return [fails("description", "describe brings a DESCRIPTION", "none came", do)]
    return [
        _described(evidence),
        _names(description),
        _scales(description),
        _gravity(evidence, description),
        _clips(description),
        _delays(description),
        _bandwidths(description),
        _ticks(description),
        _every_10_s(evidence),
        _one_boot(evidence),
    ]


def _described(evidence: Evidence) -> Finding:
    asks = "describe brings a DESCRIPTION, the same each time while nothing changes"
    heard = messages(evidence.during("stopped"))
    said = [m for _, m in heard if isinstance(m, Description)]
    asked = any(isinstance(m, Reply) and m.command == CommandCode.DESCRIBE for _, m in heard)
    first = last_description(evidence.during("before", "describe", "first_stop"))
    if not said:
        do = "send DESCRIPTION after every describe"
        return fails("description", asks, "a REPLY without it" if asked else "none at the second describe", do)
    if first is not None and any(one != first for one in said):
        return fails("description", asks, "two differ, though nothing was set", "fill it from what is in force")
    return fine("description", asks, "it does")


def _names(d: Description) -> Finding:
    asks = "it has a uid of its own, and names firmware and sensor"
    if d.uid in (bytes(8), b"\xff" * 8):
        do = "use the chip's serial number, or a random number kept in its memory: the host tells sensors apart by it"
        return fails("names", asks, f"the uid is {d.uid.hex()}", do)
    missing = [name for name, text in (("firmware", d.firmware), ("sensor", d.sensor)) if not text.strip()]
    if missing:
        do = "name it with a version: a recording is read for years"
        return advice("names", asks, f"no name for {' and '.join(missing)}", do)
    return fine("names", asks, f"{d.uid.hex()}, {d.firmware!r}, {d.sensor!r}")


def _scales(d: Description) -> Finding:
    asks = "scales are SI units per count: m/s2 and rad/s"
    accel, gyro = full_scales(d)
    found = f"32768 counts are {accel:.4g} g and {gyro:.5g} deg/s"
    if not _ACCEL_G[0] <= accel <= _ACCEL_G[1]:
        do = "accel_scale is m/s2 per count: range in g x 9.80665 / 32768"
        return fails("scales", asks, found, do)
    if not _GYRO_DEG_S[0] <= gyro <= _GYRO_DEG_S[1]:
        do = "gyro_scale is rad/s per count: range in deg/s x pi / 180 / 32768"
        return fails("scales", asks, found, do)
    if accel < _ENOUGH_G or gyro < _ENOUGH_DEG_S:
        do = "choose at least 16 g and 250 deg/s: a shot's push is several g, and clipped samples give no figures"
        return advice("scales", asks, found, do)
    return fine("scales", asks, found)


def _gravity(evidence: Evidence, d: Description) -> Finding:
    asks = "at rest the accelerometer reads gravity"
    blocks = table(evidence.during("stream"))
    if blocks.samples < 100:
        return not_seen("gravity", asks, "too few samples")
    counts = blocks.counts.astype(np.float64)
    if not np.ptp(counts, axis=0).any():
        do = "every sample is the same: does the bus answer, is data-ready seen, is the buffer filled?"
        return fails("gravity", asks, f"every sample reads {blocks.counts[0].tolist()}", do)
    size = np.linalg.norm(counts[:, :3], axis=1) * d.accel_scale
    usual = float(np.median(size))
    spread = float(np.median(np.abs(size - usual)))
    found = f"{usual:.2f} m/s2, {_G:.2f} expected"
    # A hand's sway is a hundredth of g; a swap of bytes or a wrong scale is a multiple.
    allowed = 0.08 * _G + 3 * spread
    if abs(usual - _G) > allowed:
        do = "lay it still and check again; then look at accel_scale, the range set and the order of the two bytes"
        if abs(usual - 1.0) < 0.08 + 3 * spread:
            do = "accel_scale is m/s2 per count, not g: multiply it by 9.80665"
        return fails("gravity", asks, found, do)
    return fine("gravity", asks, found)


def _clips(d: Description) -> Finding:
    asks = "it says from which count on a reading is clipped"
    wrong = [f"{name} {clip}" for name, clip in (("accel_clip", d.accel_clip), ("gyro_clip", d.gyro_clip))
             if not 0 < clip <= 32768]  # fmt: skip
    if wrong:
        do = "state the count at which the sensor stops (mostly 32767): else a clipped push passes for a measured one"
        return advice("clips", asks, f"{' and '.join(wrong)}: unknown or never reached", do)
    return fine("clips", asks, f"{d.accel_clip} and {d.gyro_clip}")


def _delays(d: Description) -> Finding:
    asks = "it states how late its filters show the motion"
    both = (("accel_delay_us", d.accel_delay_us), ("gyro_delay_us", d.gyro_delay_us))
    unknown = [name for name, us in both if us == UNKNOWN_DELAY_US]
    if unknown:
        do = (
            "add the filter's group delay at low frequencies (data sheet) and half the read-out; until then state "
            "accel_delay and gyro_delay in the set-up, or a shot's figures stay uncertain by a whole delay"
        )
        # allowed, and some data sheets do not say: an honest device must not fail for ever
        return advice("delays", asks, f"{' and '.join(unknown)} unknown", do)
    long = [f"{name} {us}" for name, us in both if us > _LONGEST_DELAY_US]
    if long:
        do = "is it in microseconds? If it is, choose a wider filter: time on the string is 10 to 20 ms"
        return fails("delays", asks, ", ".join(long), do)
    if not any(us for _, us in both):
        do = "a filter without any delay is none: state the data sheet's, or 65535 for unknown"
        return advice("delays", asks, "both are 0", do)
    return fine("delays", asks, f"accel {d.accel_delay_us} us, gyro {d.gyro_delay_us} us")


def _bandwidths(d: Description) -> Finding:
    asks = "it states its filters' bandwidths"
    both = (d.accel_bandwidth_hz, d.gyro_bandwidth_hz)
    found = f"accel {both[0]} Hz, gyro {both[1]} Hz"
    if not all(both):
        do = "state the -3 dB frequency of each: the uncertainty of a shot's instants comes from it"
        return advice("bandwidths", asks, "unknown", do)
    if max(both) > d.rate_mhz / 1000:
        do = "no stream shows what is over half its rate: state the lower of the filter's and that"
        return advice("bandwidths", asks, f"{found} at {d.rate_mhz / 1000:g} samples a second", do)
    return fine("bandwidths", asks, found)


def _ticks(d: Description) -> Finding:
    asks = "its clock is finer than its samples"
    per_sample = d.tick_hz / (d.rate_mhz / 1000)
    found = f"{d.tick_hz:,} ticks a second, {per_sample:,.0f} to a sample"
    if per_sample < _LEAST_TICKS:
        do = f"count at least {_LEAST_TICKS} ticks to a sample; 1,000,000 a second suit every rate"
        return advice("clock_resolution", asks, found, do)
    return fine("clock_resolution", asks, found)


def _every_10_s(evidence: Evidence) -> Finding:
    asks = "DESCRIPTION comes every 10 s while it streams"
    if not table(evidence.during("stream")).samples:
        return not_seen("description_every_10_s", asks, "nothing streamed")
    phase = evidence.phases["stream"]
    at = [at for at, m in messages(evidence.during("stream")) if isinstance(m, Description)]
    do = "send it when 10 s have passed since the last one: a host that joins late can't read a block without it"
    seconds = phase.ended_s - phase.begun_s
    if not at and seconds < _DESCRIBED_BY_S:
        return not_seen("description_every_10_s", asks, f"listened for {seconds:.0f} s only")
    if not at:
        return fails("description_every_10_s", asks, f"none in {seconds:.1f} s", do)
    if len(at) > 6:
        return advice("description_every_10_s", asks, f"{len(at)} in {seconds:.1f} s", "once in 10 s is enough")
    return fine("description_every_10_s", asks, f"after {at[0] - phase.begun_s:.1f} s of streaming")


def _one_boot(evidence: Evidence) -> Finding:
    asks = "it stays up: the same uid and boot all along"
    said = [m for _, m in messages(evidence.arrivals) if isinstance(m, Description)]
    boots = {(one.uid, one.boot) for one in said[1:]}  # the first may be from before the port was opened
    if len(boots) > 1:
        if len({uid for uid, _ in boots}) > 1:
            return fails("stays_up", asks, "another uid in the same talk", "the uid is the device's for ever")
        do = "boot changes at power-up only; if it does restart: is the supply strong enough, does a watchdog bite?"
        return fails("stays_up", asks, f"{len(boots)} different boots in {len(said)} descriptions", do)
    return fine("stays_up", asks, f"boot {said[-1].boot}")
