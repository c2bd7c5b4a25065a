"""The device behind the wire: bytes and the time go in, bytes come out. No port, thread or clock of its own."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from quiethand_protocol import (
    RUN_LIMIT_LIVE,
    UNKNOWN_DELAY_US,
    BadRunError,
    Command,
    CommandCode,
    Description,
    Event,
    Health,
    Log,
    Message,
    MessageType,
    Reply,
    Result,
    Samples,
    Status,
    decode_run,
    encode,
    status_byte,
)

from quiethand.emulator.sampling import Sampler
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.sensor import RATES_HZ
from quiethand.emulator.truth import NuisanceTruth, ShotTruth

__all__ = ["BOOT_MESSAGE", "Block", "Device"]

TICK_HZ = 1_000_000
BLOCK_SAMPLES = 19  # such a body never holds a run of 254 bytes
AHEAD_S = 0.5  # samples are computed so far ahead of time, many at once
READ_OUT_S = 0.0005  # from a block's last sample to its last byte
DESCRIPTION_EVERY_S = 10.0
HEALTH_EVERY_S = 1.0
COMMAND_LIMIT = 64  # bytes of a COMMAND's body
COMMAND_LEAST = 7  # type, request, command and the CRC
GATE_CHANNEL = 1
SWITCH_CHANNEL = 2
BOOT_MESSAGE = b"\r\npower-up, checking sensor... ok\r\n"


class Block(NamedTuple):
    """Samples that travel together. A tuple, as thousands are made where a recording is written at once."""

    first_s: float  # true time of the first sample
    due_s: float
    first_index: int
    ticks: int  # of the last sample
    stamp_s: NDArray[np.float64]  # (n,)
    temperature: int
    counts: NDArray[np.int16]  # (n, 6)


class Device:
    """A sensor that speaks the wire format.

    Call `step` with the time since the emulation began and whatever arrived; times must not fall. Attributes count
    what a reader should find: `sent_samples` (in blocks sent whole), `lost_samples` (lost in the device),
    `spoilt_samples` (in blocks whose frame was corrupted), `power_ups`.
    """

    def __init__(self, scenario: Scenario, *, first_index: int = 0, first_ticks: int = 0) -> None:
        self.scenario, self.faults = scenario, scenario.faults
        self.sampler = Sampler(scenario)
        self.uid = np.random.default_rng([scenario.seed, 6]).bytes(8)
        self.boot = int(np.random.default_rng([scenario.seed, 7]).integers(1, 2**31))
        self.delivered: list[Block] | None = None  # set to a list to keep what was sent whole
        self.sent_samples = self.lost_samples = self.spoilt_samples = self.power_ups = 0
        self.last_sent: tuple[float, int] | None = None  # when the last frame with ticks left, and its ticks
        self._chance = np.random.default_rng([scenario.seed, 8])
        self._out = bytearray()
        self._heard = bytearray()
        self._deaf = False  # within a run too long to be a command
        self._restart_s: float | None = None
        self._told = self._told_nuisances = 0  # already handed out
        self._edges: deque[tuple[float, int, int]] = deque()  # time, channel, level
        self._edged = 0  # shots whose edges are in there
        self._queue: deque[Block] = deque()
        self._streaming = False
        self._next_health_s = self._next_description_s = 0.0
        self._power_up(0.0, first_index, first_ticks)

    @property
    def streaming(self) -> bool:
        return self._streaming

    @property
    def clock_scale(self) -> float:
        """Seconds of the device's clock in a true second."""
        return 1 + self.faults.clock_ppm * 1e-6

    def step(self, now_s: float, data: bytes = b"", *, congested: bool = False) -> bytes:
        """What leaves the device up to `now_s`, when `data` has just arrived.

        Args:
            now_s: seconds since the emulation began.
            data: bytes from the host.
            congested: the link takes nothing more: whole blocks are dropped and counted as lost.
        """
        if self._restart_s is not None and now_s >= self._restart_s:
            at, self._restart_s = self._restart_s, None
            self._run_to(at, congested)
            self.power_up(at)
        self._run_to(now_s, congested)
        self._hear(data, now_s)
        out = bytes(self._out)
        self._out.clear()
        return out

    def power_up(self, now_s: float) -> None:
        """Power was lost and is back: another boot, counters from 0, nothing streams until `start`."""
        self.boot = (self.boot + 1) % 2**32
        self._power_up(now_s, 0, 0)

    def truth_until(self, now_s: float) -> tuple[list[ShotTruth], list[NuisanceTruth]]:
        """What has happened up to `now_s` and was not handed out before, in true seconds of the emulation."""
        shots, nuisances, self._told, self._told_nuisances = self.sampler.happened(
            now_s, self._told, self._told_nuisances
        )
        return shots, nuisances

    def ticks(self, true_s: float) -> int:
        """The device's clock, in ticks that wrap."""
        since = (true_s - self._power_s) * self.clock_scale
        return (self._first_ticks + round(since * TICK_HZ)) % 2**32

    def description(self) -> Description:
        """What the device says of itself."""
        sensor = self.sampler.sensor
        settings, spec = sensor.settings, sensor.spec
        known = not self.faults.delays_unknown
        delays = [round(s * 1e6) if known else UNKNOWN_DELAY_US for s in settings.delays_s(spec)]
        bandwidths = [round(hz) for hz in settings.bandwidths_hz(spec)]
        return Description(
            uid=self.uid,
            tick_hz=TICK_HZ,
            rate_mhz=round(settings.rate_hz * 1000),
            accel_scale=settings.accel_scale,
            gyro_scale=settings.gyro_scale,
            accel_clip=32767,
            gyro_clip=32767,
            accel_delay_us=delays[0],
            gyro_delay_us=delays[1],
            accel_bandwidth_hz=bandwidths[0],
            gyro_bandwidth_hz=bandwidths[1],
            boot=self.boot,
            revision=self._revision,
            firmware="emulator 1",
            sensor=spec.name,
        )

    def _power_up(self, now_s: float, first_index: int, first_ticks: int) -> None:
        self.power_ups += 1
        self._forget()
        self._power_s, self._first_ticks = now_s, first_ticks
        self._next_index = self._taken = first_index
        self._lost = 0
        self._revision = 0
        self._streaming = False
        self._lost_before = False
        self._first_block = True
        self.sampler.power_up(now_s)
        self.sampler.sensor.set(self.sampler.sensor.at_power_up)
        self._heard.clear()
        self._deaf = False
        if self.faults.boot_message:
            self._out += BOOT_MESSAGE
        self._out += b"\0"
        self._send(self.description())

    def _forget(self) -> None:
        """Drop what was computed ahead; its samples were never taken."""
        if self._queue:
            self.sampler.rewind(self._queue[0].first_s)
            self._next_index = self._queue[0].first_index
            self._queue.clear()

    def _run_to(self, now_s: float, congested: bool) -> None:
        while self._streaming:
            if not self._queue:
                if self.sampler.next_s > now_s:
                    break
                self._compute()
            if self._queue[0].due_s > now_s:
                break
            block = self._queue.popleft()
            self._chores(block.due_s)
            self._deliver(block, congested)
        if self._streaming:
            self._chores(now_s)

    def _compute(self) -> None:
        rate = self.sampler.sensor.settings.rate_hz
        blocks = max(1, round(AHEAD_S * rate / BLOCK_SAMPLES))
        chunk = self.sampler.take(blocks * BLOCK_SAMPLES)
        warm = round(100 * self.sampler.sensor.temperature_c(float(chunk.at_s[0]) - self._power_s))
        firsts = chunk.at_s[::BLOCK_SAMPLES].tolist()
        dues = (chunk.at_s[BLOCK_SAMPLES - 1 :: BLOCK_SAMPLES] + READ_OUT_S).tolist()
        lasts = chunk.stamp_s[BLOCK_SAMPLES - 1 :: BLOCK_SAMPLES].tolist()
        for n, (first, due, last) in enumerate(zip(firsts, dues, lasts, strict=True)):
            part = slice(n * BLOCK_SAMPLES, (n + 1) * BLOCK_SAMPLES)
            ticks = self.ticks(last)
            self._queue.append(
                Block(first, due, self._next_index, ticks, chunk.stamp_s[part], warm, chunk.counts[part])
            )
            self._next_index = (self._next_index + BLOCK_SAMPLES) % 2**32
        for shot in self.sampler.shots[self._edged :]:
            edges = [(shot.draw_end_s, GATE_CHANNEL, 1), (shot.rest_clear_s, GATE_CHANNEL, 0)] * self.scenario.gate
            switch = [(shot.release_s, SWITCH_CHANNEL, 1), (shot.release_s + 1.0, SWITCH_CHANNEL, 0)]
            edges += switch * self.scenario.switch
            self._edges += sorted(edges)
        self._edged = len(self.sampler.shots)

    def _deliver(self, block: Block, congested: bool) -> None:
        count = len(block.counts)
        self._taken = (self._taken + count) % 2**32
        if congested or (self.faults.lose and self._chance.random() < self.faults.lose):
            self._lost = (self._lost + count) % 2**32
            self.lost_samples += count
            self._lost_before = True
            return
        flags = 0
        if self._lost_before or self._first_block:
            flags = Status.LOST_BEFORE * self._lost_before | Status.FIRST_SINCE_POWER_UP * self._first_block
            self._lost_before = self._first_block = False
        status = status_byte(flags, self._revision, self.boot)
        if self._send(Samples(block.first_index, block.ticks, block.counts, status, block.temperature)):
            self.sent_samples += count
            self.last_sent = (block.due_s, block.ticks)
            if self.delivered is not None:
                self.delivered.append(block)
        else:
            self.spoilt_samples += count

    def _chores(self, now_s: float) -> None:
        """What a streaming device says from time to time."""
        while self._edges and self.sampler.true_s(self._edges[0][0]) <= now_s:
            scene_s, channel, level = self._edges.popleft()
            self._send(Event(self.ticks(self.sampler.true_s(scene_s)), channel, level))
        while now_s >= self._next_health_s:
            self._send(Health(self._taken, self._lost, 3700))
            self._next_health_s += HEALTH_EVERY_S
        while now_s >= self._next_description_s:
            self._send(self.description())
            self._next_description_s += DESCRIPTION_EVERY_S

    def _send(self, message: Message) -> bool:
        """Put a frame on the wire; False if it was corrupted on the way."""
        frame = encode(message)
        if not self.faults.corrupt or self._chance.random() >= self.faults.corrupt:
            self._out += frame
            return True
        at = int(self._chance.integers(0, len(frame) - 1))  # never the delimiter: one frame is spoilt, not two
        kind = int(self._chance.integers(0, 3))
        if kind == 0:
            other = (frame[at] + int(self._chance.integers(1, 256))) % 256
            self._out += frame[:at] + bytes([other]) + frame[at + 1 :]
        elif kind == 1:
            self._out += frame[:at] + frame[at + 1 :]
        else:
            self._out += frame[:at] + frame[at : at + 1] + frame[at:]
        return False

    def _hear(self, data: bytes, now_s: float) -> None:
        """Collect runs; what is too long is dropped up to its delimiter and never kept."""
        *ended, rest = data.split(b"\0")
        for run in ended:
            self._heard += run[: RUN_LIMIT_LIVE + 1]
            if self._heard and not self._deaf and len(self._heard) <= RUN_LIMIT_LIVE:
                self._judge(bytes(self._heard), now_s)
            self._heard.clear()
            self._deaf = False
        self._heard += rest[: RUN_LIMIT_LIVE + 1]
        if len(self._heard) > RUN_LIMIT_LIVE:
            self._deaf = True
            self._heard.clear()

    def _judge(self, run: bytes, now_s: float) -> None:
        try:
            body = decode_run(run)
        except BadRunError:
            return
        if body[0] != MessageType.COMMAND or not COMMAND_LEAST <= len(body) <= COMMAND_LIMIT:
            return
        command = Command(body[1], body[2], body[3:-4])
        before = self._revision
        result = self._obey(command, now_s)
        ticks = self.ticks(now_s)
        if self._send(Reply(command.request, command.command, result, ticks)):
            self.last_sent = (now_s, ticks)
        if result == Result.OK and (command.command == CommandCode.DESCRIBE or self._revision != before):
            self._send(self.description())
            self._next_description_s = now_s + DESCRIPTION_EVERY_S
        if result == Result.OK and command.command == CommandCode.IDENTIFY:
            self._send(Log(1, "identify: the lamp blinks"))

    def _obey(self, command: Command, now_s: float) -> Result:
        match command.command:
            case CommandCode.DESCRIBE | CommandCode.IDENTIFY | CommandCode.CLOCK:
                return Result.OK
            case CommandCode.START:
                if not self._streaming:
                    self._start(now_s)
                return Result.OK
            case CommandCode.STOP:
                self._forget()
                self._streaming = False
                return Result.OK
            case CommandCode.SET_RATE:
                asked = command.rate_mhz()
                if not asked:
                    return Result.BAD_ARGUMENT
                rates = {*RATES_HZ, self.scenario.rate_hz}
                self._change(rate_hz=min(rates, key=lambda rate: abs(rate - asked / 1000)))
                return Result.OK
            case CommandCode.SET_RANGES:
                return self._set_ranges(command)
        return Result.UNKNOWN_COMMAND

    def _start(self, now_s: float) -> None:
        self._streaming = True
        self.sampler.begin(now_s)
        self._next_health_s = now_s + HEALTH_EVERY_S
        self._next_description_s = now_s + DESCRIPTION_EVERY_S
        if self.power_ups == 1 and self._restart_s is None and self.faults.restart_after_s is not None:
            self._restart_s = now_s + self.faults.restart_after_s

    def _set_ranges(self, command: Command) -> Result:
        asked, sensor = command.ranges(), self.sampler.sensor
        if asked is None:
            return Result.BAD_ARGUMENT
        accel = [g for g in sensor.spec.accel_ranges_g if g >= asked[0]]
        gyro = [rate for rate in sensor.spec.gyro_ranges_deg_s if rate >= asked[1]]
        if not accel or not gyro:
            return Result.BAD_ARGUMENT
        now = sensor.settings
        self._change(
            accel_range_g=accel[0] if asked[0] else now.accel_range_g,
            gyro_range_deg_s=gyro[0] if asked[1] else now.gyro_range_deg_s,
        )
        return Result.OK

    def _change(self, **changed: float) -> None:
        """Between blocks; the DESCRIPTION that announces it comes before any block that follows it."""
        sensor = self.sampler.sensor
        settings = replace(sensor.settings, **changed)  # type: ignore[arg-type]
        if settings != sensor.settings:
            self._forget()
            sensor.set(settings)
            self._revision = (self._revision + 1) % 256
