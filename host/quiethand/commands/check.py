"""`quiethand check`: is a recording whole; if not, what is missing, and where."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final, Literal

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.motion.facts import RecordingFacts

State = Literal["whole", "damaged", "empty"]
STATUS: Final = {"whole": 0, "empty": 1, "unreadable": 2, "damaged": 3}
WORST_FIRST: Final = ("unreadable", "damaged", "empty", "whole")
LINES_SHOWN: Final = 20  # of each sort of place; JSON has up to 1000


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(allow_dash=True), metavar="FILE...")
@click.option(
    "--setup", "setup_file", type=click.Path(), help="Set-up file (TOML), for units that a text stream lacks."
)
@click.option("--format", "form", type=click.Choice(["table", "json"]), default="table", show_default=True)
def command(files: tuple[str, ...], setup_file: str | None, form: str) -> None:
    """Say whether recordings are whole: every sample between the first and the last is there.

    \b
    Examples:
      quiethand check evening.qhr
      quiethand check *.qhr --format json

    Exit status: 0 whole; 1 nothing in it; 2 cannot be read; 3 damaged but read. Of several files the worst counts
    (2, then 3, then 1).
    """
    from quiethand.link.files import open_motion

    setup = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        setup = read_setup(setup_file)
    states: list[str] = []
    for name in files:
        try:
            opened = open_motion(name, setup)
            for _ in opened:
                pass
        except InputError as wrong:
            click.echo(f"quiethand: {wrong}", err=True)
            states.append("unreadable")
            continue
        state = state_of(opened.facts)
        states.append(state)
        if form == "json":
            indent = 1 if len(files) == 1 else None
            click.echo(json.dumps(report(name, opened.facts), indent=indent, allow_nan=False, ensure_ascii=False))
        else:
            for line in lines(name, opened.facts):
                click.echo(line)
    sys.exit(STATUS[next(state for state in WORST_FIRST if state in states)])


def state_of(facts: RecordingFacts) -> State:
    """Whole, damaged but read, or nothing in it."""
    if not facts.samples:
        return "empty"
    return "whole" if facts.whole else "damaged"


def report(name: str, facts: RecordingFacts) -> dict[str, Any]:
    """The object that `--format json` prints."""
    damages = [d for d in facts.damages if d.kind == "joined" or d.kind not in HARMLESS] + facts.unscaled_places
    return {
        "input": name,
        "state": state_of(facts),
        "mode": facts.mode,
        "bytes": facts.bytes_read,
        "rate_hz": facts.rate_hz,
        "duration_s": facts.duration_s,
        "samples": facts.samples,
        "lost_samples": facts.lost_samples,
        "unscaled_samples": facts.unscaled,
        "clipped_samples": facts.clipped_samples,
        "segments": facts.segments,
        "bad_frames": facts.bad_frames,
        "malformed": facts.malformed,
        "joined_mid_frame": facts.joined_mid_frame,
        "unknown": facts.unknown,
        "host_frames_from_device": facts.host_frames_from_device,
        "bad_lines": facts.bad_lines,
        "refused": facts.refused,
        "missing": [
            {"time_s": loss.time_s, "offset": loss.offset, "samples": loss.samples, "segment": loss.segment}
            for loss in facts.losses
        ],
        "gaps": [
            {"time_s": g.time_s, "seconds": g.seconds, "offset": g.offset, "line": g.line, "reason": g.reason}
            for g in facts.gaps
        ],
        "damage": [
            {"kind": d.kind, "offset": d.offset, "length": d.length, "count": d.count, "why": d.why} for d in damages
        ],
        "places_left_out": max(0, facts.loss_places - len(facts.losses))
        + max(0, facts.gap_places - len(facts.gaps))
        + max(0, facts.damage_places - len(facts.damages)),
        "notes": list(facts.notes),
    }


# Counted, and no fault of the recording: a stream joined in mid-frame, types of a later version.
HARMLESS: Final = frozenset({"joined", "unknown", "host_frame", "other_version"})


def lines(name: str, facts: RecordingFacts) -> Iterator[str]:
    """The text that a person reads."""
    state = state_of(facts)
    said = {"whole": "whole", "damaged": "damaged, read as far as it goes", "empty": "nothing in it"}[state]
    yield f"{name}: {said}"
    rate = f" at {facts.rate_hz:,.1f} Hz" if facts.rate_hz else ""
    yield f"  {facts.samples:,} samples{rate}, {facts.duration_s:,.3f} s, {_many(facts.segments, 'segment')}"
    if facts.loss_places:
        lost = facts.lost_samples or 0
        share = 100.0 * lost / (lost + facts.samples + facts.unscaled)
        yield f"  {lost:,} samples lost at {_many(facts.loss_places, 'place')} ({share:.2g} %)"
        yield from _some([f"{_at(x.time_s)}, byte {x.offset:,}: {x.samples:,} samples lost" for x in facts.losses])
    if facts.gap_places:
        yield f"  {_many(facts.gap_places, 'gap')}, in which nobody counted what was lost"
        yield from _some([_gap(g.time_s, g.seconds, g.offset, g.line, g.reason) for g in facts.gaps])
    damages = [d for d in facts.damages if d.kind not in HARMLESS]
    if damages:
        kinds = (
            (facts.bad_frames, "bad frame"),
            (facts.malformed, "malformed frame"),
            (facts.bad_lines, "line that does not parse"),
        )
        yield "  " + ", ".join(_many(n, what) for n, what in kinds if n)
        yield from _some([f"byte {d.offset:,}, {d.length:,} bytes: {d.why}" for d in damages])
    if facts.unscaled:
        yield f"  {facts.unscaled:,} samples without a scale"
        yield from _some([f"byte {d.offset:,}: {d.count:,} samples, {d.why}" for d in facts.unscaled_places])
    if facts.refused:
        yield f"  not read from there on: {facts.refused}"
    if facts.joined_mid_frame:
        yield f"  joined in mid-frame {_many(facts.joined_mid_frame, 'time')}"
        yield from _some(
            [f"byte {d.offset:,}, {d.length:,} bytes: {d.why}" for d in facts.damages if d.kind == "joined"]
        )
    for count, what in ((facts.unknown, "unknown frame"), (facts.host_frames_from_device, "host frame")):
        if count:
            yield f"  {_many(count, what)}, passed over"
    if facts.clipped_samples:
        yield f"  {facts.clipped_samples:,} samples at full scale"
    for note in facts.notes:
        yield f"  note: {note}"


def _many(n: int, what: str) -> str:
    if n == 1:
        return f"1 {what}"
    return f"{n:,} lines that do not parse" if what.startswith("line") else f"{n:,} {what}s"


def _at(time_s: float | None) -> str:
    return "time not known" if time_s is None else f"after {time_s:,.4f} s"


def _gap(time_s: float | None, seconds: float | None, offset: int | None, line: int | None, reason: str) -> str:
    where = f"line {line:,}" if line is not None else f"byte {offset or 0:,}"
    length = "" if seconds is None else f" {seconds:,.4f} s"
    return f"{_at(time_s)}, {where}:{length} {reason}"


def _some(places: list[str]) -> Iterator[str]:
    for place in places[:LINES_SHOWN]:
        yield f"    {place}"
    if len(places) > LINES_SHOWN:
        yield f"    and more ({len(places) - LINES_SHOWN:,}; --format json lists up to 1,000)"
