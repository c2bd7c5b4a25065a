"""The one way through the house: motion in, shots out, whether it comes from a file, a pipe or a wire.

Feeding the same bytes in other pieces gives the same shots: every step decides by sample positions alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from quiethand import __version__
from quiethand.bow.cautions import cautions_for
from quiethand.bow.launch import Launch, launch
from quiethand.errors import InputError
from quiethand.motion.stream import MotionStream
from quiethand.shots.candidate import Candidate
from quiethand.shots.contract import SCHEMA_VERSION, number, rejected_object, shot_object
from quiethand.shots.events import unnamed_channels, with_events
from quiethand.shots.felt import FeltState
from quiethand.shots.finder import ShotFinder
from quiethand.shots.measure import measure_and_learn
from quiethand.shots.model import Rejected, Shot
from quiethand.shots.still import StillTracker

if TYPE_CHECKING:
    from collections.abc import Iterable

    from quiethand.bow.model import Setup
    from quiethand.motion.block import MotionBlock
    from quiethand.motion.facts import RecordingFacts

__all__ = ["Report", "ShotFollower", "StreamAnalysis", "analyse_path", "report_of", "software"]

Result = Shot | Rejected


def software() -> str:
    """What computed a figure, as reports and stores name it."""
    return f"quiethand {__version__}"


@dataclass(frozen=True)
class Report:
    """All that one recording holds, in the order of time."""

    name: str
    facts: RecordingFacts
    shots: tuple[Shot, ...]
    rejected: tuple[Rejected, ...]
    setup: Setup | None  # the last in force
    notes: tuple[str, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions that this recording and its set-up call for."""
        return cautions_for(self.setup, dry_fire=any(r.reason == "dry_fire" for r in self.rejected))

    def contract(self) -> dict[str, Any]:
        """The object that `quiethand analyse --format json` prints."""
        return {
            "schema": SCHEMA_VERSION,
            "software": software(),
            "input": self.name,
            "recording": {**recording_object(self.facts), "notes": list(self.notes)},
            "shots": [shot_object(shot) for shot in self.shots],
            "rejected": [rejected_object(rejected) for rejected in self.rejected],
            "cautions": list(self.cautions),
        }


def recording_object(facts: RecordingFacts) -> dict[str, Any]:
    """What the contract says of the recording itself."""
    return {
        "rate_hz": number(facts.rate_hz),
        "duration_s": number(facts.duration_s),
        "samples": facts.samples,
        "lost_samples": facts.lost_samples,
        "clipped_samples": facts.clipped_samples,
        "segments": facts.segments,
        "bad_frames": facts.bad_frames,
    }


class ShotFollower:
    """Follows motion and gives each shot and rejection as soon as it can be told.

    Args:
        setup: what the user stated; where a block carries a set-up of its own (a recording's SESSION), that one is
            taken from there on.
        facts: of the recording as it is read, for the edges on the device's inputs.
        traces: also keep the motion around each shot, for figures.
    """

    def __init__(self, setup: Setup | None = None, facts: RecordingFacts | None = None, *, traces: bool = True) -> None:
        self._traces = traces
        self.setup = setup
        self.notes: list[str] = []
        self._facts = facts
        self._still = StillTracker()
        self._felt: FeltState | None = None
        self._shots = 0
        self._launch: Launch | None = None
        self._finder: ShotFinder | None = None

    def follow(self, block: MotionBlock) -> list[Result]:
        """Take the next block of motion."""
        results: list[Result] = []
        stated = self.setup if block.setup is None else block.setup
        if self._finder is None or stated is not self.setup:
            results += self.finish()
            self.setup, self._launch = stated, self._model(stated)
            self._finder = ShotFinder(stated, self._launch, self._still)
            self._felt = None  # another bow, mount or archer
        return results + self._results(self._finder.feed(block))

    def finish(self) -> list[Result]:
        """The motion has ended: give what is left."""
        return self._results(self._finder.finish()) if self._finder is not None else []

    def _model(self, setup: Setup | None) -> Launch | None:
        if setup is None:
            self._note("no set-up: no launch model, torque or shift at the target; 'quiethand setup' writes one")
            return None
        try:
            made = launch(setup)
        except InputError as why:
            self._note(f"no launch model: {why}")
            return None
        for note in made.notes:
            self._note(note)
        return made

    def _note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def _results(self, found: Iterable[Candidate | Rejected]) -> list[Result]:
        results: list[Result] = []
        for one in found:
            if isinstance(one, Candidate):
                self._shots += 1
                shot, self._felt = measure_and_learn(
                    one, self.setup, self._launch, self._shots, one.still, self._felt, trace=self._traces
                )
                results.append(shot)
            else:
                results.append(one)
        return self._with_events(results)

    def _with_events(self, results: list[Result]) -> list[Result]:
        if self._facts is None or not results:
            return results
        events = tuple(self._facts.recent_events)
        if unnamed := unnamed_channels(events, self.setup):
            channels = ", ".join(map(str, unnamed))
            self._note(f"edges came on input {channels}; the set-up's [events] can say what they measure")
        return with_events(results, events, self.setup)


class StreamAnalysis:
    """Bytes in, shots out: what `live` runs over a growing recording.

    Args:
        setup: what the user stated; wins over what the stream states.
        source: "recording" for a file, "device" for bytes straight from a sensor.
    """

    def __init__(self, setup: Setup | None = None, source: Literal["recording", "device"] = "recording") -> None:
        self._motion = MotionStream(setup, source)
        self._follower = ShotFollower(setup, self._motion.facts)

    @property
    def facts(self) -> RecordingFacts:
        """What is known of the recording so far; complete after `finish`."""
        return self._motion.facts

    @property
    def setup(self) -> Setup | None:
        """The set-up in force: the user's, or the last that the recording stated."""
        return self._follower.setup

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader of the figures should know, each once."""
        return (*self.facts.notes, *self._follower.notes)

    def feed(self, data: bytes) -> list[Result]:
        """Take the next bytes, in any chunking."""
        return self._follow(self._motion.feed(data))

    def finish(self) -> list[Result]:
        """No more bytes come."""
        return self._follow(self._motion.finish()) + self._follower.finish()

    def _follow(self, blocks: Iterable[MotionBlock]) -> list[Result]:
        return [result for block in blocks for result in self._follower.follow(block)]


def analyse_path(path: str, setup: Setup | None = None, *, traces: bool = True) -> Report:
    """Analyse a recording of any kind (.qhr, raw capture, text mode, CSV; "-" for standard input).

    `traces`: also keep the motion around each shot, for figures; without it memory hardly grows with the shots.

    Raises:
        InputError: the file cannot be read or is no recording.
    """
    from quiethand.link.files import open_motion

    source = open_motion(path, setup)
    follower = ShotFollower(source.setup, source.facts, traces=traces)
    results: list[Result] = []
    for block in source:
        results += follower.follow(block)
    results += follower.finish()
    return report_of(path, source.facts, results, follower)


def report_of(name: str, facts: RecordingFacts, results: Iterable[Result], follower: ShotFollower) -> Report:
    """Put what was found in the order of time, shots numbered as they were."""
    results = list(results)
    return Report(
        name=name,
        facts=facts,
        shots=tuple(r for r in results if isinstance(r, Shot)),
        rejected=tuple(sorted((r for r in results if isinstance(r, Rejected)), key=lambda r: r.time_s)),
        setup=follower.setup,
        notes=(*facts.notes, *follower.notes),
    )
