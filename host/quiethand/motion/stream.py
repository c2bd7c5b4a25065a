"""The stream of motion: bytes in, blocks of motion out, the same whatever pieces the bytes come in."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from quiethand.bow.model import SensorSetup, Setup
from quiethand.motion.arrival import Arrivals
from quiethand.motion.block import MotionBlock
from quiethand.motion.calibration import Calibration, Scales, calibration
from quiethand.motion.facts import Damage, LinkGap, LogLine, Loss, Mark, RecordingFacts, keep
from quiethand.motion.segmenting import Segmenter
from quiethand.motion.segments import Group, Identity, Segment
from quiethand_protocol import (
    UNKNOWN_DELAY_US,
    UNKNOWN_TEMPERATURE,
    Blocks,
    Clock,
    Description,
    Event,
    Gap,
    Header,
    Health,
    Item,
    Located,
    Log,
    Message,
    Note,
    Parser,
    Session,
    Trouble,
)

__all__ = ["MotionStream"]


class MotionStream:
    """Reads one stream of frames.

    Args:
        setup: what the user states of the sensor; it wins over the stream.
        source: "recording" for a file, "device" for bytes straight from a sensor, where host frames are dropped.

    Attributes:
        facts: what is known besides the motion; complete after `finish`.
    """

    def __init__(self, setup: Setup | None = None, source: Literal["recording", "device"] = "recording") -> None:
        self.facts = RecordingFacts(mode="binary")
        self._sensor = setup.sensor if setup is not None else SensorSetup()
        self._parser = Parser(source)
        self._arrivals = Arrivals(self.facts)
        self._segmenter = Segmenter(self.facts)
        self._descriptions: list[Description] = []
        self._calibrations: list[Calibration] = []
        self._fitted_samples, self._fitted_s = 0, 0.0  # over closed segments
        self._nominal_hz: float | None = None

    def feed(self, data: bytes) -> list[MotionBlock]:
        """Take the next bytes and give the motion that has become certain. Never raises on any bytes."""
        self._take(self._parser.feed(data))
        return self._motion(to_end=False)

    def finish(self) -> list[MotionBlock]:
        """Say that no more bytes come, and get what was held back."""
        self._take(self._parser.finish())
        motion = self._motion(to_end=True)
        if self._parser.refused is not None:
            self.facts.refused = self._parser.refused
        return motion

    def _take(self, items: list[Item]) -> None:
        for item in items:
            if isinstance(item, Blocks):
                self._arrivals.blocks(item)
                self._look_at_health(item)
            elif isinstance(item, Located):
                self._hear(item.offset, item.message)
            else:
                self._trouble(item)
        parser, facts = self._parser, self.facts
        facts.bytes_read = parser.bytes_fed
        facts.bad_frames, facts.joined_mid_frame = parser.bad_frames, parser.joined_mid_frame
        facts.malformed, facts.unknown = parser.malformed, parser.unknown
        facts.host_frames_from_device, facts.other_versions = parser.host_frames_from_device, parser.other_versions

    def _look_at_health(self, blocks: Blocks) -> None:
        if blocks.temperature[-1] != UNKNOWN_TEMPERATURE:
            self.facts.temperature_c = float(blocks.temperature[-1]) / 100.0
        if not self.facts.supply_low and (blocks.status & 2).any():
            self.facts.supply_low = True
            self.facts.note("the device said that its supply was low")

    def _trouble(self, trouble: Trouble) -> None:
        self.facts.damage_places += 1
        why = f"{trouble.why} ({trouble.detail})" if trouble.detail else trouble.why
        keep(self.facts.damages, Damage(trouble.kind, trouble.offset, trouble.length, trouble.count, why))
        if trouble.kind == "other_version":
            self.facts.note(trouble.why)

    def _hear(self, offset: int, message: Message) -> None:
        facts, order = self.facts, self._arrivals.received
        match message:
            case Description():
                self._describe(message)
            case Clock():
                self._segmenter.hear(order, message.ticks, message.unix_ns)
            case Event():
                values: dict[str, object] = {"channel": message.channel, "value": message.value}
                self._segmenter.hear(order, message.ticks, Mark(None, offset, "event", values))
            case Note():
                self._note(offset, message)
            case Health():
                facts.samples_taken, facts.lost_in_device = message.samples, message.lost
                facts.supply_mv = message.supply_mv or None
            case Log():
                keep(facts.logs, LogLine(offset, message.level, message.text))
            case Session():
                facts.session = message.document
            case Gap():
                facts.gap_places += 1
                keep(facts.gaps, LinkGap(None, None, offset, message.reason or "the link was lost"))
                self._arrivals.broken()
            case Header():
                if facts.header is None and not self._arrivals.received:
                    facts.header = {"created": message.created, "software": message.software}
                else:
                    facts.note("recordings were joined: a second HEADER stands in the file")
                self._arrivals.broken()
            case _:
                pass

    def _note(self, offset: int, note: Note) -> None:
        if note.text is not None:
            keep(self.facts.remarks, note.text)
        names = ("shot", "called_right_mm", "called_up_mm", "right_mm", "up_mm")
        values = {name: getattr(note, name) for name in names if getattr(note, name) is not None}
        if note.ticks is not None and values:
            self._segmenter.hear(self._arrivals.received, note.ticks, Mark(None, offset, "note", values))

    def _describe(self, description: Description) -> None:
        for number, known in enumerate(self._descriptions):
            if known == description:
                self._arrivals.describe(number, description)
                return
        number = len(self._descriptions)
        keep(self.facts.descriptions, description)
        self._descriptions.append(description)
        made = calibration(_scales(description), self._sensor)
        for text in made.notes:
            self.facts.note(text)
        self._calibrations.append(made)
        self._segmenter.know(
            number, Identity(description.uid, description.boot, description.tick_hz, description.rate_mhz)
        )
        self._arrivals.describe(number, description)

    def _motion(self, to_end: bool) -> list[MotionBlock]:
        groups: list[tuple[Segment, Group]] = []
        for arrived in self._arrivals.settled(to_end):
            groups += self._segmenter.push(arrived)
        if to_end:
            groups += self._segmenter.finish()
        blocks = []
        for segment, group in groups:
            block = self._block(segment, group)
            if block is not None:
                blocks.append(block)
        self._close_segments(to_end)
        return blocks

    def _block(self, segment: Segment, group: Group) -> MotionBlock | None:
        facts = self.facts
        assert segment.start_s is not None
        for loss in group.losses:
            facts.loss_places += 1
            keep(facts.losses, Loss(segment.start_s + loss.since_start_s, segment.number, loss.samples, loss.offset))
        if group.scale < 0:
            return None
        made = self._calibrations[group.scale]
        force, rate = made.apply(group.counts)
        accel_clipped, gyro_clipped = made.clipped(group.counts)
        facts.samples += len(group.index)
        if accel_clipped.any() or gyro_clipped.any():
            facts.accel_clipped_samples += int(accel_clipped.sum())
            facts.gyro_clipped_samples += int(gyro_clipped.sum())
            facts.clipped_samples += int((accel_clipped | gyro_clipped).sum())
        time_s = group.since_start_s
        time_s += segment.start_s
        facts.duration_s = float(time_s[-1])
        scales = made.scales
        return MotionBlock(
            segment.number, group.index, time_s, force, rate, accel_clipped, gyro_clipped, group.period_s,
            made.accel_delay_s, made.gyro_delay_s, scales.accel_bandwidth_hz, scales.gyro_bandwidth_hz,
            scales.accel_m_s2, scales.gyro_rad_s, made.bias_stated, made.mount_stated,
        )  # fmt: skip

    def _close_segments(self, to_end: bool) -> None:
        facts = self.facts
        for segment in self._segmenter.closed():
            self._take_marks(segment)
            stands = segment.facts()
            keep(facts.segment_list, stands)
            if segment.identity is None:
                continue
            if segment.fitted:
                self._fitted_samples += segment.end_index
                self._fitted_s += segment.end_s
            else:
                facts.note(f"segment {segment.number} is under 1 s: times by the nominal rate")
            self._nominal_hz = self._nominal_hz or segment.rate_nominal
            if segment.went_on_by == "clock":
                facts.note("time goes on over restarts and gaps by the host's clock")
            elif segment.went_on_by == "at_once":
                facts.note("time goes on at once after a restart or gap: the host's clock is not in the recording")
            unix_ns = segment.clock.unix_ns_at(0.0)
            if facts.unix_at_zero_s is None and unix_ns is not None and segment.start_s is not None:
                facts.unix_at_zero_s = unix_ns * 1e-9 - segment.start_s
        current = self._segmenter.current
        if current is not None:
            self._take_marks(current)
        samples, seconds = self._fitted_samples, self._fitted_s
        if current is not None and current.fitted:
            samples, seconds = samples + current.end_index, seconds + current.end_s
        if seconds > 0:
            facts.rate_hz = samples / seconds
        elif self._nominal_hz or (current is not None and current.identity is not None):
            facts.rate_hz = self._nominal_hz or (current.rate_nominal if current is not None else None)

    def _take_marks(self, segment: Segment) -> None:
        if segment.start_s is None and segment.identity is not None:
            return
        for since, mark in segment.marks:
            at = None if since is None or segment.start_s is None else segment.start_s + since
            kept = self.facts.events if mark.kind == "event" else self.facts.marks
            keep(kept, replace(mark, time_s=at))
        segment.marks.clear()


def _scales(description: Description) -> Scales:
    def delay(us: int) -> float | None:
        return None if us == UNKNOWN_DELAY_US else us * 1e-6

    return Scales(
        accel_m_s2=description.accel_scale,
        gyro_rad_s=description.gyro_scale,
        accel_clip=description.accel_clip or None,
        gyro_clip=description.gyro_clip or None,
        accel_delay_s=delay(description.accel_delay_us),
        gyro_delay_s=delay(description.gyro_delay_us),
        accel_bandwidth_hz=description.accel_bandwidth_hz or None,
        gyro_bandwidth_hz=description.gyro_bandwidth_hz or None,
    )
