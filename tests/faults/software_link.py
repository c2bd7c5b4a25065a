"""A recorder and a device in software on one wire whose time is made: minutes of trouble in a second or two."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from quiethand.analysis import StreamAnalysis
from quiethand.bow.setup_file import setup_from_document
from quiethand.emulator import Device, Scenario, setup_document
from quiethand.link.recorder import Out, Recorder
from quiethand.motion.facts import RecordingFacts
from quiethand.shots.model import Shot

UNIX_NS = 1_767_981_600_000_000_000
STEP_S = 0.005


class Speaks(Protocol):
    def step(self, now_s: float, data: bytes = b"") -> bytes: ...


class Wire:
    """Goes on in steps of 5 ms; `file` is what the recorder wrote so far."""

    def __init__(self, device: Speaks) -> None:
        self.device = device
        self.recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="software link")
        self.file = bytearray(self.recorder.open())
        self.now_s = 0.0
        self.sent_to_device = 0
        self._towards = b""
        self.take(self.recorder.link_up(0.0))

    def take(self, out: Out) -> None:
        self.file += out.write
        self._towards += out.send
        self.sent_to_device += len(out.send)

    def until(self, end_s: float, way: Callable[[bytes], bytes] = bytes) -> None:
        """Carry on; `way` is what the line makes of the device's bytes."""
        while self.now_s < end_s:
            self.now_s += STEP_S
            towards, self._towards = self._towards, b""
            came = way(self.device.step(self.now_s, towards))
            if came:
                self.take(self.recorder.received(came, self.now_s, UNIX_NS + round(self.now_s * 1e9)))
            else:
                self.take(self.recorder.tick(self.now_s))

    def ended(self) -> bytes:
        self.file += self.recorder.close()
        return bytes(self.file)


def read(file: bytes, scenario: Scenario | None = None) -> tuple[RecordingFacts, list[Shot]]:
    """Facts and shots of a recording, with the set-up of a scenario."""
    setup = None if scenario is None else setup_from_document(setup_document(scenario), "bow.toml")
    analysis = StreamAnalysis(setup)
    results = analysis.feed(file) + analysis.finish()
    return analysis.facts, [result for result in results if isinstance(result, Shot)]


def true_shots(device: Device, until_s: float, troubles: Sequence[float]) -> tuple[int, int]:
    """How many shots there were in all, and how many of them have no trouble in the 6 s before or the second after."""
    shots, _ = device.truth_until(until_s)
    calm = [s for s in shots if not any(s.release_s - 6 < at < s.departure_s + 1 for at in troubles)]
    return len(shots), len([s for s in calm if s.departure_s < until_s - 1])
