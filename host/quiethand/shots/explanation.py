"""How one figure of a shot came about: what it was made of, what its uncertainty is made of, and what would halve it.

To halve a standard uncertainty its variance must fall to a quarter (GUM, JCGM 100, 5.1.2: variances add up).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from quiethand.shots.advice import advice_for
from quiethand.shots.follow_through import SWING_SPAN_S
from quiethand.shots.measures_table import Measure
from quiethand.shots.model import Shot
from quiethand.shots.mount_mode import RING_SPAN_S
from quiethand.shots.timing import delay_sigma_s

if TYPE_CHECKING:
    from quiethand.motion.block import MotionBlock

__all__ = ["COMMON", "OWN", "Explanation", "SamplesUsed", "Share", "explain", "halving", "span_s"]

# The same for every shot of a recording: a mean over shots does not make them smaller. The others differ from shot to
# shot. An instant's own row holds the accelerometer's delay too, which is common, but small beside the rest.
COMMON: Final = frozenset({"bias", "scale", "mount", "acceleration", "gyro delay", "accelerometer delay"})
OWN: Final = frozenset(
    {"noise", "timing of the release", "timing of the departure", "correlation of the two instants", "fit"}
)


@dataclass(frozen=True)
class SamplesUsed:
    """The stretch of motion that a figure rests on, by one sensor; times are the motion's, delays taken off."""

    sensor: Literal["accelerometer", "gyro"]
    from_s: float
    to_s: float
    count: int
    missing: int  # lost within it
    clipped: int
    rate_hz: float
    bandwidth_hz: float | None
    delay_s: float | None  # taken off; None: unknown, nothing was


@dataclass(frozen=True)
class Share:
    """One source of uncertainty; `percent` of the variance, negative where a correlation helps."""

    source: str
    kind: Literal["A", "B"]
    sigma: float  # in the measure's unit, signed for a correlation
    percent: float
    common: bool


@dataclass(frozen=True)
class Explanation:
    shot: int
    measure: Measure
    axis: str | None
    value: float | None
    sigma: float | None
    samples: tuple[SamplesUsed, ...]
    settings: tuple[str, ...]  # calibration, model and thresholds that had a say
    shares: tuple[Share, ...]  # the largest first; empty where no budget is kept
    notes: tuple[str, ...]
    verdict: str  # what dominates and what would halve it


def span_s(measure: Measure, shot: Shot) -> tuple[float, float] | None:
    """From when to when the motion lies that a figure rests on, recording time; None: on no motion of its own."""
    release = shot.release_s if shot.release_s is not None else shot.departure_s
    departure = shot.departure_s
    match measure.span:
        case "window" | "push":
            return release, departure
        case "hold":
            return (release - shot.hold.duration_s, release) if shot.hold.duration_s else None
        case "drift":
            return release - 0.5, release
        case "follow":
            return departure + SWING_SPAN_S[0], departure + SWING_SPAN_S[1]
        case "ring":
            return departure + RING_SPAN_S[0], departure + RING_SPAN_S[1]
        case _:
            return None


def explain(
    shot: Shot, measure: Measure, axis: str | None, blocks: Sequence[MotionBlock], settings: Sequence[str] = ()
) -> Explanation:
    """Put together what is known of one figure.

    Args:
        shot: as measured.
        measure: a row of the table, and the axis where it has three.
        blocks: the motion of the shot's segment that covers `span_s`.
        settings: what else had a say, from the caller who knows set-up and recording.
    """
    span = span_s(measure, shot)
    samples = tuple(_used(blocks, sensor, *span) for sensor in measure.sensors) if span and blocks else ()
    shares = _shares(shot, measure, axis, blocks)
    value, sigma = measure.of(shot, axis), measure.of(shot, axis, sigma=True)
    return Explanation(
        shot=shot.number,
        measure=measure,
        axis=axis,
        value=value,
        sigma=sigma,
        samples=samples,
        settings=tuple(settings),
        shares=shares,
        notes=shot.notes,
        verdict=_verdict(shot, measure, value, sigma, shares, blocks),
    )


def _used(
    blocks: Sequence[MotionBlock], sensor: Literal["accelerometer", "gyro"], start: float, end: float
) -> SamplesUsed:
    gyro = sensor == "gyro"
    first = blocks[0]
    time = np.concatenate([b.gyro_time_s if gyro else b.accel_time_s for b in blocks])
    index = np.concatenate([b.index for b in blocks])
    clipped = np.concatenate([b.gyro_clipped if gyro else b.accel_clipped for b in blocks])
    at = np.flatnonzero((time >= start) & (time <= end))
    span = int(index[at[-1]] - index[at[0]]) + 1 if len(at) else 0
    return SamplesUsed(
        sensor=sensor,
        from_s=start,
        to_s=end,
        count=len(at),
        missing=span - len(at),
        clipped=int(clipped[at].sum()),
        rate_hz=1 / first.period_s,
        bandwidth_hz=first.gyro_bandwidth_hz if gyro else first.accel_bandwidth_hz,
        delay_s=first.gyro_delay_s if gyro else first.accel_delay_s,
    )


def _shares(shot: Shot, measure: Measure, axis: str | None, blocks: Sequence[MotionBlock]) -> tuple[Share, ...]:
    rows: list[tuple[str, Literal["A", "B"], float]] = []
    if measure.name == "rotation" and axis is not None:
        rows = [(row.source, row.kind, getattr(row.deg, axis) or 0.0) for row in shot.budget]
    elif measure.name in ("pointing_right", "pointing_up"):
        axis = "yaw" if measure.name == "pointing_right" else "pitch"
        whole, shift = getattr(shot.at_departure.rotation_sigma_deg, axis), measure.of(shot, sigma=True)
        if whole and shift:
            rows = [(row.source, row.kind, (getattr(row.deg, axis) or 0.0) * shift / whole) for row in shot.budget]
    elif measure.name in ("release", "departure", "time_on_string") and blocks:
        rows = _instant_rows(shot, measure.name, blocks[0].accel_delay_s)
    signed = [np.sign(x) * x**2 if "correlation" in source else x**2 for source, _, x in rows]
    total = float(sum(signed))
    if total <= 0:
        return ()
    found = [
        Share(source, kind, float(x), 100 * float(part) / total, source in COMMON)
        for (source, kind, x), part in zip(rows, signed, strict=True)
        if x
    ]
    return tuple(sorted(found, key=lambda share: -share.percent))


def _instant_rows(shot: Shot, name: str, delay_s: float | None) -> list[tuple[str, Literal["A", "B"], float]]:
    """What the uncertainty of an instant is made of: the delay all of them share, and the fit's own."""
    release, departure, whole = shot.release_sigma_s, shot.departure_sigma_s, shot.time_on_string_sigma_s
    delay = delay_sigma_s(delay_s)
    if release is None or departure is None or whole is None:
        return []

    def own(sigma: float) -> float:
        return float(np.sqrt(max(sigma**2 - delay**2, 0.0)))

    if name == "time_on_string":
        together = whole**2 - own(release) ** 2 - own(departure) ** 2  # the delay falls out of a difference
        return [
            ("timing of the release", "B", own(release)),
            ("timing of the departure", "B", own(departure)),
            ("correlation of the two instants", "B", float(np.sign(together) * np.sqrt(abs(together)))),
        ]
    return [("fit", "B", own(release if name == "release" else departure)), ("accelerometer delay", "B", delay)]


def halving(shares: Sequence[Share]) -> tuple[tuple[Share, ...], float] | None:
    """The fewest of the largest sources that can halve the whole, and to which share of itself each has to fall.

    None where no sources are known.
    """
    positive = [share for share in shares if share.percent > 0]
    if not positive:
        return None
    total = sum(share.percent for share in shares)
    for many in range(1, len(positive) + 1):
        top = sum(share.percent for share in positive[:many])
        left = total / 4 - (total - top)
        if left >= 0:
            return tuple(positive[:many]), float(np.sqrt(left / top))
    return tuple(positive), 0.5


def _verdict(
    shot: Shot, measure: Measure, value: float | None, sigma: float | None, shares: Sequence[Share],
    blocks: Sequence[MotionBlock],
) -> str:  # fmt: skip
    if value is None:
        why = " and ".join(measure.needs) or "more than there was"
        return f"Not known: it needs {why}; the notes say what was missing."
    if not shares:
        if sigma is None:
            return "No uncertainty is stated for this figure, so nothing can be said of what would halve it."
        return "Of this figure's uncertainty no budget is kept; that of the rotation shows what dominates the shot."
    found = halving(shares)
    if found is None:
        return "No source of its uncertainty is known."
    sources, factor = found
    largest = sources[0]
    head = f"{largest.source.capitalize()} dominates with {largest.percent:.0f} % of the variance; "
    if len(sources) == 1:
        named = f"it must fall to {100 * factor:.0f} % of what it is"
    else:
        names = ", ".join(s.source for s in sources[:-1]) + f" and {sources[-1].source}"
        named = f"{names} must fall to {100 * factor:.0f} % of what they are" if factor > 0.005 else f"{names} must go"
    advice = "; ".join(dict.fromkeys(advice_for(s.source, shot, blocks[0] if blocks else None) for s in sources[:3]))
    return f"{head}to halve the uncertainty {named}: {advice}."
