"""Groups of samples to blocks of motion, and what closing a segment tells of the recording."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import SensorSetup, Setup
from quiethand.motion.block import CountedBlock, Fitted, MotionBlock
from quiethand.motion.calibration import Calibration, Scales, calibration
from quiethand.motion.clock import SegmentClock
from quiethand.motion.facts import LinkGap, Loss, Mark, RecordingFacts, SegmentFacts, keep, keep_mark
from quiethand.motion.segments import Group, Segment
from quiethand.motion.timed import TimedGroup, TimedSegment

__all__ = ["MEANINGS_KEPT", "Builder"]

# Descriptions that differ and are remembered. A sensor has a handful; a stream of nonsense must not fill memory.
MEANINGS_KEPT: Final = 4096


class _Segment(Protocol):
    """What both sorts of segment have."""

    clock: SegmentClock
    marks: list[tuple[float | None, Mark]]
    start_s: float | None
    went_on_by: Literal["start", "clock", "at_once"]

    @property
    def end_s(self) -> float: ...
    @property
    def end_index(self) -> int: ...
    def facts(self) -> SegmentFacts: ...


class Builder:
    """Applies calibrations and keeps the recording's facts."""

    def __init__(self, facts: RecordingFacts, setup: Setup | None) -> None:
        self._facts = facts
        self._setup = setup
        self._setups = 0  # how many have been in force
        self._numbers: dict[tuple[Scales, Hashable], int] = {}
        self._calibrations: dict[int, tuple[Calibration, Setup | None]] = {}
        self._next_number = 0
        self._steps, self._seconds = 0, 0.0  # of closed segments of 1 s and more
        self._nominal_hz: float | None = None

    @property
    def sensor(self) -> SensorSetup:
        """What the set-up in force states of the sensor."""
        return self._setup.sensor if self._setup is not None else SensorSetup()

    def use(self, setup: Setup) -> None:
        """Another set-up is in force for what is calibrated from here on."""
        self._setup = setup
        self._setups += 1

    def calibrate(self, scales: Scales, of: Hashable = None) -> int:
        """The number by which samples refer to what a stream states: another for other scales or for another `of`."""
        of = (of, self._setups)
        number = self._numbers.get((scales, of))
        if number is None:
            number = self._next_number
            self._next_number += 1
            self._numbers[scales, of] = number
            made = calibration(scales, self.sensor)
            self._calibrations[number] = made, self._setup
            for text in made.notes:
                self._facts.note(text)
            if len(self._numbers) > MEANINGS_KEPT:
                oldest = next(iter(self._numbers))
                del self._calibrations[self._numbers.pop(oldest)]
        return number

    def from_ticks(self, segment: Segment, group: Group) -> MotionBlock | None:
        """A group of a binary stream; None where it has no scale."""
        facts, start_s = self._facts, segment.start_s or 0.0
        for loss in group.losses:
            facts.loss_places += 1
            keep(facts.losses, Loss(start_s + loss.since_start_s, segment.number, loss.samples, loss.offset))
        if group.scale not in self._calibrations:
            return None
        return self._block(segment.number, start_s, group.scale, group, group.counts, group.fitted)

    def from_times(self, segment: TimedSegment, group: TimedGroup, *, lines: bool = False) -> MotionBlock | None:
        """A group of text mode, or of a CSV (`lines`: places are line numbers); None where it has no scale."""
        facts, start_s = self._facts, segment.start_s or 0.0
        for before_s, length_s, place in group.gaps:
            facts.gap_places += 1
            facts.lost_samples = None
            gap = LinkGap(start_s + before_s, length_s, None if lines else place, "a step in time over 1.5 periods")
            keep(facts.gaps, replace(gap, line=place) if lines else gap)
        if group.scale not in self._calibrations:
            return None
        # beyond the six numbers: whether the sensor had clipped, where a CSV states it
        stated = group.values[:, 6:] != 0 if group.values.shape[1] == 8 else None
        return self._block(segment.number, start_s, group.scale, group, group.values[:, :6], stated_clipped=stated)

    def _block(
        self,
        number: int,
        start_s: float,
        scale: int,
        group: Group | TimedGroup,
        numbers: NDArray[np.int16] | NDArray[np.float64],
        fitted: Fitted | None = None,
        stated_clipped: NDArray[np.bool_] | None = None,
    ) -> MotionBlock:
        (made, setup), facts = self._calibrations[scale], self._facts
        facts.samples += len(group.index)
        time_s = group.since_start_s + start_s
        facts.duration_s = float(time_s[-1])
        scales = made.scales
        stated = {
            "segment": number,
            "index": group.index,
            "time_s": time_s,
            "period_s": group.period_s,
            "accel_delay_s": made.accel_delay_s,
            "gyro_delay_s": made.gyro_delay_s,
            "accel_bandwidth_hz": made.accel_bandwidth_hz,
            "gyro_bandwidth_hz": made.gyro_bandwidth_hz,
            "accel_scale_m_s2": scales.accel_m_s2,
            "gyro_scale_rad_s": scales.gyro_rad_s,
            "bias_stated": made.bias_stated,
            "mount_stated": made.mount_stated,
            "setup": setup,
            "fitted": fitted,
        }
        block: MotionBlock = CountedBlock.of(numbers, made, stated)
        counted = made.clipped_samples(numbers)
        if stated_clipped is not None:
            accel, gyro = block.accel_clipped | stated_clipped[:, 0], block.gyro_clipped | stated_clipped[:, 1]
            block = replace(block, accel_clipped=accel, gyro_clipped=gyro)
            counted = int(accel.sum()), int(gyro.sum()), int((accel | gyro).sum())
        facts.accel_clipped_samples += counted[0]
        facts.gyro_clipped_samples += counted[1]
        facts.clipped_samples += counted[2]
        return block

    def closed(self, segment: _Segment) -> None:
        """A segment ended: its place, rate and clock go into the facts."""
        facts = self._facts
        self._take_marks(segment)
        stands = segment.facts()
        keep(facts.segment_list, stands)
        if isinstance(segment, Segment):
            if segment.identity is None:
                return
            self._nominal_hz = self._nominal_hz or segment.rate_nominal
            if not segment.fitted:
                facts.note(f"segment {segment.number + 1} is under 1 s: its times are by the nominal rate")
        elif isinstance(segment, TimedSegment) and segment.coarse:
            facts.note("times repeat: the time column is coarser than the sampling, and was spread evenly")
        if self._has_rate(segment):
            self._steps, self._seconds = self._steps + segment.end_index, self._seconds + segment.end_s
        if segment.went_on_by == "clock":
            facts.note("time goes on over restarts and gaps by the host's clock")
        elif segment.went_on_by == "at_once":
            facts.note("after a restart or gap time goes on at once: the host's clock does not tell how long it was")
        unix_ns = segment.clock.unix_ns_at(0.0)
        if facts.unix_at_zero_s is None and unix_ns is not None and segment.start_s is not None:
            facts.unix_at_zero_s = unix_ns * 1e-9 - segment.start_s

    def current(self, segment: _Segment | None) -> None:
        """How the segment stands that is still open."""
        steps, seconds = self._steps, self._seconds
        if segment is not None:
            if segment.start_s is not None:
                self._take_marks(segment)
            if self._has_rate(segment):
                steps, seconds = steps + segment.end_index, seconds + segment.end_s
            elif isinstance(segment, Segment) and segment.identity is not None:
                self._nominal_hz = self._nominal_hz or segment.rate_nominal
        self._facts.rate_hz = steps / seconds if seconds > 0 else self._nominal_hz

    def _has_rate(self, segment: _Segment) -> bool:
        if isinstance(segment, Segment):
            return segment.fitted
        return segment.end_s > 0

    def _take_marks(self, segment: _Segment) -> None:
        for since, mark in segment.marks:
            at = None if since is None or segment.start_s is None else segment.start_s + since
            keep_mark(self._facts, replace(mark, time_s=at))
        segment.marks.clear()
