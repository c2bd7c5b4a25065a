"""`quiethand why`: how one figure of a shot came about, and what would halve its uncertainty."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.analysis import Report
    from quiethand.bow.model import Setup
    from quiethand.motion.block import MotionBlock
    from quiethand.shots.explanation import Explanation
    from quiethand.shots.model import Shot

_DIGITS: Final = {"s": 6, "deg": 5, "deg/s": 3, "mm": 2, "N m": 4, "N m s": 6, "N m/rad": 1, "Hz": 1, "": 4}
_MARGIN_S: Final = 0.01  # more than any filter's delay


@click.command()
@click.argument("file", type=click.Path())
@click.argument("shot_number", metavar="SHOT", type=int)
@click.argument("measure_name", metavar="MEASURE")
@click.option(
    "--setup", "setup_file", type=click.Path(), help="Set-up file (TOML); wins over what the recording states."
)
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
def command(file: str, shot_number: int, measure_name: str, setup_file: str | None, form: str) -> None:
    """How a figure came about: samples, filter, delays, thresholds, uncertainty by share, and what would halve it.

    MEASURE is a name as in JSON, CSV or the store: rotation_yaw, time_on_string, at_departure.rotation_deg.yaw ...

    \b
    Examples:
      quiethand why evening.qhr 3 rotation_yaw
      quiethand why evening.qhr 1 time_on_string --setup bow.toml --format json
    """
    from quiethand.analysis import analyse_path
    from quiethand.shots.explanation import explain, span_s
    from quiethand.shots.measures_table import measure_named

    if file == "-":
        raise click.UsageError("a figure's samples are read a second time: name a file, not standard input")
    measure, axis = measure_named(measure_name)
    setup: Setup | None = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        setup = read_setup(Path(setup_file))
    report = analyse_path(file, setup, traces=False)
    shot = _shot(report, shot_number)
    span = span_s(measure, shot)
    blocks = [] if span is None else _motion(file, setup, shot.segment, *span)
    found = explain(shot, measure, axis, blocks, list(_settings(shot, report, blocks, measure.name)))
    if form == "json":
        click.echo(json.dumps(as_object(found, report), indent=1, allow_nan=False, ensure_ascii=False))
    else:
        for line in as_text(found, report):
            click.echo(line)


def _shot(report: Report, number: int) -> Shot:
    shots = report.shots
    for shot in shots:
        if shot.number == number:
            return shot
    if not shots:
        raise InputError("holds no shot", where=report.name, do="see 'quiethand analyse' for what was rejected and why")
    range_ = "its only shot is 1" if len(shots) == 1 else f"its shots are {shots[0].number} to {shots[-1].number}"
    raise InputError(f"no shot {number}", where=report.name, do=range_)


def _motion(path: str, setup: Setup | None, segment: int, start_s: float, end_s: float) -> list[MotionBlock]:
    """The blocks that hold a stretch; the analysis keeps no motion, so it is read once more."""
    from quiethand.link.files import open_motion

    return [
        block
        for block in open_motion(path, setup)
        if block.segment == segment and block.time_s[0] <= end_s + _MARGIN_S and block.time_s[-1] >= start_s - _MARGIN_S
    ]


def _settings(shot: Shot, report: Report, blocks: list[MotionBlock], measure: str) -> Iterator[str]:
    """Calibration, models and thresholds that had a say."""
    from quiethand.bow.limit_names import LIMIT_MEASURES
    from quiethand.shots.gyro_state import STATED_SIGMA_RAD_S
    from quiethand.shots.hold import TREMOR_HZ
    from quiethand.shots.timing_shock import LEAST_SHOCK_M_S2, PATH_DELAY_S

    setup = report.setup
    yield f"set-up: {setup.source or 'unnamed'}" if setup is not None else "set-up: none"
    if blocks:
        stated = "taken off" if blocks[0].bias_stated else "none; what still moments showed was taken off"
        yield f"stated gyro bias: {stated} (a stated one counts as good to {_deg(STATED_SIGMA_RAD_S):g} deg/s)"
        yield (
            "mount: as stated"
            if blocks[0].mount_stated
            else "mount: not stated; the sensor's axes were taken as the bow's"
        )
    yield f"departure from: {shot.departure_from.replace('_', ' ')}"
    yield (
        f"threshold of the shock: {LEAST_SHOCK_M_S2:g} m/s2 off the smooth push, or an eighth of its highest; "
        f"{1e3 * PATH_DELAY_S:g} ms from the string's stop to the sensor taken off"
    )
    if measure == "tremor_rms":
        yield f"filter: {TREMOR_HZ[0]:g} to {TREMOR_HZ[1]:g} Hz"
    if shot.push_misfit is not None:
        yield f"push fitted, {100 * shot.push_misfit:.1f} % left over"
    limits = {} if setup is None else setup.limits
    for flag in shot.flags:
        if flag.measure.startswith(measure):
            yield f"flag: {flag.text}"
    for name in limits:
        if name.startswith(measure) and name in LIMIT_MEASURES:
            yield f"limit {name}: {limits[name].value:g} {limits[name].unit}"


def _deg(rad: float) -> float:
    return float(rad) * 57.29577951308232


def as_text(found: Explanation, report: Report) -> Iterator[str]:
    """Lines for a person; the last says what dominates."""
    measure, unit = found.measure, found.measure.unit
    digits = _DIGITS[unit]
    name = measure.label + (f", {found.axis}" if found.axis else "")
    if found.value is None:
        yield f"{name}: not known"
    else:
        sigma = "" if found.sigma is None else f" ± {found.sigma:.{digits}f}"
        yield f"{name}: {found.value:.{digits}f}{sigma} {unit}".rstrip() + f"  (shot {found.shot}, {report.name})"
    yield f"  is       {measure.definition}"
    yield f"  method   {measure.method}"
    if measure.needs:
        yield f"  needs    {', '.join(measure.needs)}"
    for used in found.samples:
        lost = f", {used.missing} lost" if used.missing else ""
        clipped = f", {used.clipped} at full scale" if used.clipped else ""
        yield (
            f"  samples  {used.count} of the {used.sensor} at {used.rate_hz:.1f} Hz, motion of {used.from_s:.6f} to "
            f"{used.to_s:.6f} s{lost}{clipped}"
        )
        band = "bandwidth not stated" if used.bandwidth_hz is None else f"-3 dB at {used.bandwidth_hz:g} Hz"
        delay = (
            "delay unknown, nothing taken off"
            if used.delay_s is None
            else f"delay {1e3 * used.delay_s:.3f} ms taken off"
        )
        yield f"  filter   {used.sensor}: {band}; {delay}"
    for line in found.settings:
        yield f"  with     {line}"
    for title, common in (("differs from shot to shot", False), ("common to all shots of the recording", True)):
        shares = [share for share in found.shares if share.common == common]
        if not shares:
            continue
        yield f"  {title}:"
        for share in shares:
            yield f"    {share.percent:6.1f} %  {share.sigma:+.{digits}f} {unit}  {share.source} ({share.kind})"
    for note in found.notes:
        yield f"  note     {note}"
    yield f"  software {_software()}"
    yield found.verdict


def as_object(found: Explanation, report: Report) -> dict[str, Any]:
    """The same for programs."""
    measure = found.measure
    return {
        "schema": 1,
        "software": _software(),
        "input": report.name,
        "shot": found.shot,
        "measure": measure.column(found.axis),
        "label": measure.label,
        "axis": found.axis,
        "unit": measure.unit,
        "value": found.value,
        "sigma": found.sigma,
        "definition": measure.definition,
        "method": measure.method,
        "needs": list(measure.needs),
        "samples": [vars_of(used) for used in found.samples],
        "settings": list(found.settings),
        "budget": [vars_of(share) for share in found.shares],
        "notes": list(found.notes),
        "verdict": found.verdict,
    }


def vars_of(row: object) -> dict[str, Any]:
    """The fields of a flat dataclass."""
    return {name: getattr(row, name) for name in row.__dataclass_fields__}  # type: ignore[attr-defined]


def _software() -> str:
    from quiethand.analysis import software

    return software()
