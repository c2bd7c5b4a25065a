"""The stream of motion: bytes in, blocks of motion out, the same whatever pieces the bytes come in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

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
    Text,
)
from quiethand_protocol.detect import ModeDetector
from quiethand_protocol.items import TextBlock, TextItem, Trouble
from quiethand_protocol.text import TextParser

from quiethand.bow.model import Setup
from quiethand.bow.setup_file import setup_from_document
from quiethand.errors import InputError
from quiethand.motion.arrival import Arrivals
from quiethand.motion.block import MotionBlock
from quiethand.motion.building import Builder
from quiethand.motion.calibration import Scales
from quiethand.motion.facts import Damage, LinkGap, LogLine, Mark, RecordingFacts, keep
from quiethand.motion.segmenting import Segmenter
from quiethand.motion.segments import Identity
from quiethand.motion.text_stream import TextSegmenter, scales_of
from quiethand.motion.timed import TimedGroup, TimedSegment

__all__ = ["Mode", "MotionStream"]

Mode = Literal["binary", "text"]
# A file is a recording unless its beginning says otherwise; so much may be damaged before it is taken for one.
UNDECIDED_BYTES: Final = 1 << 16
HOST_MESSAGES: Final = (Header, Session, Clock, Note, Gap, Text)


class MotionStream:
    """Reads one stream of frames or of text mode.

    Args:
        setup: what the user states; it wins over the stream. None: a recording's own SESSION is in force from where
            it stands.
        source: "recording" for a file, "device" for bytes straight from a sensor, where host frames are dropped.
        mode: "binary" or "text" (bare lines; TEXT frames are binary) where it is known; None: told by the bytes.

    Attributes:
        facts: what is known besides the motion; complete after `finish`.
    """

    def __init__(
        self,
        setup: Setup | None = None,
        source: Literal["recording", "device"] = "recording",
        mode: Mode | None = None,
    ) -> None:
        self.facts = RecordingFacts(mode="text" if mode == "text" else None)
        self._source: Literal["recording", "device"] = source
        self._setup_stated = setup is not None
        self._in_force: Description | None = None
        self._detector = ModeDetector(source) if mode is None else None
        self._undecided = bytearray()
        self._bare_text = mode == "text"
        self._parser = Parser(source)
        self._text = TextParser()
        self._lines = TextSegmenter(self.facts)
        self._arrivals = Arrivals(self.facts)
        self._segmenter = Segmenter(self.facts)
        self._builder = Builder(self.facts, setup)
        self._motion: list[MotionBlock] = []
        self._first_run_bad = self._host_frames = False

    def feed(self, data: bytes) -> list[MotionBlock]:
        """Take the next bytes and give the motion that has become certain. Never raises on any bytes."""
        if self._detector is not None:
            self._undecided += data
            mode = self._detector.feed(data)
            if mode is None and len(self._undecided) <= UNDECIDED_BYTES:
                return []
            data = self._decided(mode)
        self._read(data)
        return self._taken()

    def finish(self) -> list[MotionBlock]:
        """Say that no more bytes come, and get what was held back."""
        if self._detector is not None:
            self._read(self._decided(None))
        if self._bare_text:
            self._take_lines(self._text.finish())
        else:
            self._take(self._parser.finish())
        self._settle(to_end=True)
        facts = self.facts
        facts.refused = self._parser.refused
        if self._first_run_bad and self._host_frames and facts.header is None:
            facts.header_damaged = True
            facts.note("the file's HEADER is damaged: it was read all the same")
        return self._taken()

    def _decided(self, mode: Mode | None) -> bytes:
        self._detector = None
        self._bare_text = mode == "text"
        held = bytes(self._undecided)
        self._undecided.clear()
        return held

    def _read(self, data: bytes) -> None:
        facts = self.facts
        if self._bare_text:
            self._take_lines(self._text.feed(data))
            facts.bytes_read = self._text.bytes_fed
        else:
            self._take(self._parser.feed(data))
            self._settle(to_end=False)
            facts.bytes_read = self._parser.bytes_fed
        facts.mode = "text" if self._bare_text else self._parser.mode

    def _taken(self) -> list[MotionBlock]:
        motion, self._motion = self._motion, []
        return motion

    def _take(self, items: Sequence[Item]) -> None:
        for item in items:
            if isinstance(item, Blocks):
                self._arrivals.blocks(item)
                self._look_at_health(item)
            elif isinstance(item, Located):
                self._host_frames = self._host_frames or isinstance(item.message, HOST_MESSAGES)
                self._hear(item.offset, item.message)
            else:
                self._trouble(item)
        parser, facts = self._parser, self.facts
        facts.bad_frames, facts.joined_mid_frame = parser.bad_frames, parser.joined_mid_frame
        facts.malformed, facts.unknown = parser.malformed, parser.unknown
        facts.host_frames_from_device, facts.other_versions = parser.host_frames_from_device, parser.other_versions

    def _take_lines(self, items: Sequence[TextItem]) -> None:
        for item in items:
            if isinstance(item, TextBlock):
                scales = scales_of(item.units, self._builder.sensor)
                scale = None if scales is None else self._builder.calibrate(scales)
                self._keep_lines(self._lines.push(item, scale))
            else:
                self._trouble(item)
        self.facts.bad_lines = self._text.bad_lines

    def _settle(self, to_end: bool) -> None:
        """Motion from what has arrived."""
        groups = []
        for arrived in self._arrivals.settled(to_end):
            groups += self._segmenter.push(arrived)
        if to_end:
            groups += self._segmenter.finish()
            self._keep_lines(self._lines.finish())
        for segment, group in groups:
            block = self._builder.from_ticks(segment, group)
            if block is not None:
                self._motion.append(block)
        for ended in self._segmenter.closed():
            self._builder.closed(ended)
        if not self._lines.received:
            self._builder.current(self._segmenter.current)

    def _keep_lines(self, groups: list[tuple[TimedSegment, TimedGroup]]) -> None:
        for segment, group in groups:
            block = self._builder.from_times(segment, group)
            if block is not None:
                self._motion.append(block)
        for ended in self._lines.closed():
            self._builder.closed(ended)
        if self._lines.received:
            self._builder.current(self._lines.current)

    def _look_at_health(self, blocks: Blocks) -> None:
        if blocks.temperature[-1] != UNKNOWN_TEMPERATURE:
            self.facts.temperature_c = float(blocks.temperature[-1]) / 100.0
        if not self.facts.supply_low and (blocks.status & 2).any():
            self.facts.supply_low = True
            self.facts.note("the device said that its supply was low")

    def _trouble(self, trouble: Trouble) -> None:
        facts = self.facts
        facts.damage_places += 1
        why = f"{trouble.why} ({trouble.detail})" if trouble.detail else trouble.why
        keep(facts.damages, Damage(trouble.kind, trouble.offset, trouble.length, trouble.count, why))
        self._first_run_bad = self._first_run_bad or (trouble.kind == "joined" and trouble.offset <= 1)
        if trouble.kind == "other_version":
            facts.note(trouble.why)

    def _hear(self, offset: int, message: Message) -> None:
        facts = self.facts
        match message:
            case Description():
                self._describe(message)
            case Text():
                self._take_lines(self._text.feed_frame(message.data, offset))
            case Clock():
                self._hear_tick(message.ticks, message.unix_ns)
            case Event():
                values: dict[str, object] = {"channel": message.channel, "value": message.value}
                self._hear_tick(message.ticks, Mark(None, offset, "event", values))
            case Note():
                self._note(offset, message)
            case Health():
                facts.samples_taken, facts.lost_in_device = message.samples, message.lost
                facts.supply_mv = message.supply_mv or None
            case Log():
                keep(facts.logs, LogLine(offset, message.level, message.text))
            case Session():
                if not self._setup_stated and message.document != facts.session:
                    self._use(message.document)
                facts.session = message.document
            case Gap():
                facts.gap_places += 1
                keep(facts.gaps, LinkGap(None, None, offset, message.reason or "the link was lost"))
                self._broken()
            case Header():
                if facts.header is None and not offset:
                    facts.header = {"created": message.created, "software": message.software}
                else:
                    facts.note("recordings were joined: a second HEADER stands in the file")
                self._broken()
            case _:
                pass

    def _use(self, document: Mapping[str, object]) -> None:
        try:
            setup = setup_from_document(document, "the recording's SESSION", later_keys=True)
        except InputError as wrong:
            self.facts.note(f"the recording's own set-up is not used: {wrong}")
            return
        self._builder.use(setup)
        if self._in_force is not None:
            self._describe(self._in_force)

    def _broken(self) -> None:
        self._in_force = None
        self._arrivals.broken()
        self._text.gap()

    def _hear_tick(self, ticks: int, said: int | Mark) -> None:
        if self._bare_text or self._parser.mode == "text":
            self._lines.hear(self._lines.received, ticks, said)
        else:
            self._segmenter.hear(self._arrivals.received, ticks, said)

    def _note(self, offset: int, note: Note) -> None:
        if note.text is not None:
            keep(self.facts.remarks, note.text)
        names = ("shot", "called_right_mm", "called_up_mm", "right_mm", "up_mm")
        values: dict[str, object] = {n: getattr(note, n) for n in names if getattr(note, n) is not None}
        if not values:
            return
        if note.ticks is None:
            keep(self.facts.marks, Mark(None, offset, "note", values))
        else:
            self._hear_tick(note.ticks, Mark(None, offset, "note", values))

    def _describe(self, description: Description) -> None:
        if description not in self.facts.descriptions:
            keep(self.facts.descriptions, description)
        identity = Identity(description.uid, description.boot, description.tick_hz, description.rate_mhz)
        number = self._builder.calibrate(_scales(description), identity)
        self._segmenter.know(number, identity)
        self._arrivals.describe(number, description)
        self._in_force = description


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
