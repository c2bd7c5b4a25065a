"""Why a knock was not a shot, in one of the contract's words and in a sentence with the figures that decided it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quiethand.shots.history import Grid
from quiethand.shots.knock import G0, Knock, Push
from quiethand.shots.model import Reason, Rejected
from quiethand.shots.verdict import Before, falling, swinging

__all__ = ["Look", "reason_of"]

_GAP_S = 0.010  # a link that loses so much at once
_GAP_ABOUT_S = (0.03, 0.12)  # before and after the knock
_PULL_M_S2 = 3.0 * G0  # a cable pulls, it does not knock
_EDGE_S = 0.040  # a push has to be seen whole
_END_S = 0.025  # a shock has to be seen ringing
_EDGE_LEAST_M_S2 = 2.0 * G0
_BOUNCE_S = 0.04
_TURNED_COS = np.cos(np.radians(8.0))
_SWUNG_RAD_S = 0.1  # 6 deg/s, over 25 ms: a knock that moves the bow as a whole
_SHAKE_M_S2 = 0.9 * G0  # jerks of drawing and handling: not worth a line
_TUG_M_S2 = 1.5 * G0
_TUG_PERIOD_S = 0.0011  # slower sampling takes the sting out of a knock
_TUGGED_RAD_S = 0.17  # 10 deg/s: more than so light a knock can turn a bow by
_LIGHT_M_S2 = 2.0 * G0


@dataclass(frozen=True)
class Look:
    """All that is known of a knock that is not a shot."""

    grid: Grid
    knock: Knock
    push: Push | None
    onset: int
    lost: int
    before: Before
    onsets: list[int]  # rows of the knocks that count, the bounces too
    glitch: bool
    dry: bool
    pushed: bool
    drawing: bool
    drawn: bool
    at_end: bool
    least_s: float


def _g(value_m_s2: float) -> str:
    return f"{value_m_s2 / G0:.1f} g"


def _gap_s(look: Look) -> float:
    """Samples lost about the knock, in seconds."""
    dt = look.grid.period_s
    a, b = max(0, look.onset - round(_GAP_ABOUT_S[0] / dt)), look.onset + round(_GAP_ABOUT_S[1] / dt)
    return float((~look.grid.there[a:b]).sum() * dt)


def _swing_rad_s(look: Look) -> float:
    """Largest change of the mean rate over 25 ms within a fifth of a second after the knock."""
    dt = look.grid.period_s
    rate = look.grid.rate_rad_s
    k = max(1, round(0.025 / dt))
    was = rate[max(0, look.onset - 2 * k) : max(1, look.onset - 1)].mean(axis=0)
    after = rate[look.onset : look.onset + 8 * k]
    if len(after) < k:
        return 0.0
    means = np.diff(np.cumsum(np.vstack([np.zeros(3), after]), axis=0)[::k], axis=0) / k
    return float(np.linalg.norm(means - was, axis=1).max()) if len(means) else 0.0


def _turned(look: Look) -> bool:
    """The sensor's up is another than before, at the end of what was looked at."""
    tail = look.grid.force_m_s2[-max(2, round(0.06 / look.grid.period_s)) :].mean(axis=0)
    size = float(np.linalg.norm(tail))
    return size > 0.5 * G0 and float(tail @ look.before.attitude) < _TURNED_COS * size


def _bounces(look: Look) -> int:
    rows = sorted(look.onsets)
    apart = round(_BOUNCE_S / look.grid.period_s)
    count, last = 0, -apart
    for row in rows:
        if row - last >= apart:
            count, last = count + 1, row
    return count


def reason_of(look: Look, delay_s: float) -> Rejected | None:
    """The knock as a rejection; None if it is not worth a line."""
    time_s = float(look.grid.time_s[look.onset]) - delay_s

    def say(reason: Reason, text: str) -> Rejected:
        return Rejected(time_s, reason, text)

    hard, peak = _g(look.knock.peak_m_s2), look.knock.peak_m_s2
    gap = _gap_s(look)
    if look.glitch or (gap >= _GAP_S and peak < _PULL_M_S2):
        leapt = "values leapt for a sample or two as no bow can move" if look.glitch else "a pull without a shock"
        lost = f", and {gap * 1e3:.0f} ms of samples were lost" if gap >= _GAP_S else ""
        return say("cable", f"{leapt}{lost}: look at the cable and its plugs")
    if falling(look.before):
        return say("drop", f"a fall (specific force {_g(look.before.force_m_s2)}) and then a shock of {hard}")
    if look.dry and look.push is not None and not swinging(look.before):
        return say(
            "dry_fire",
            f"a push of {look.push.visible_s * 1e3:.1f} ms where an arrow takes over {look.least_s * 1e3:.1f} ms, and"
            f" a shock of {hard}{' or more' if look.knock.clipped else ''}: no arrow seems to have been on the string;"
            " have the bow inspected before it is drawn again",
        )
    if look.pushed and swinging(look.before):
        turning = f"{np.degrees(look.before.rate_rad_s):.0f} deg/s"
        return say("no_hold", f"a push and a shock of {hard}, but the bow was turning at {turning} before it")
    if look.pushed:
        rate = 1.0 / look.grid.period_s
        return say("unknown", f"a push and a shock of {hard} at {rate:.0f} samples a second: too few to tell a shot")
    if peak >= _EDGE_LEAST_M_S2:
        early = look.onset * look.grid.period_s
        late = (len(look.grid.time_s) - look.onset) * look.grid.period_s
        if early < _EDGE_S:
            return say(
                "edge",
                f"a shock of {hard} {early * 1e3:.0f} ms after the recording or a gap: what was before is not known",
            )
        if look.at_end and late < _END_S:
            return say("edge", f"a shock of {hard} {late * 1e3:.0f} ms before the recording ends or breaks off")
        if look.lost * look.grid.period_s >= 0.004:
            return say(
                "edge", f"a shock of {hard} right after {look.lost} lost samples: whether a push came is not known"
            )
    if look.drawing and peak < _SHAKE_M_S2:
        return None
    bounces = _bounces(look)
    if bounces >= 3 or (bounces == 2 and _turned(look)):
        return say("set_down", f"{bounces} knocks of up to {hard} in a row with no push before them")
    swung = _swing_rad_s(look)
    if swung >= _TUGGED_RAD_S and peak < _TUG_M_S2 and look.grid.period_s < _TUG_PERIOD_S:
        return say("cable", f"a pull of {hard} that swung the bow at {np.degrees(swung):.0f} deg/s, without a shock")
    if look.drawn:
        return say("no_push", f"a knock of {hard} in a hold, with no push before it")
    if swung >= _SWUNG_RAD_S:
        return say(
            "no_push", f"a knock of {hard} that swung the bow at {np.degrees(swung):.0f} deg/s, with no push before it"
        )
    light = "a light knock" if peak < _LIGHT_M_S2 else "a knock"
    like = ", as of a tap or an arrow nocked" if peak < _LIGHT_M_S2 else ""
    return say("tap", f"{light} of {hard} with no push before it{like}")
