"""From the figures of a knock to what it was: every threshold stands here, in physical units, with its reason."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import Setup
from quiethand.shots.history import Grid
from quiethand.shots.knock import G0, Knock, Push, onset_rows, push_before, quiet_before
from quiethand.shots.middle import median

__all__ = [
    "Before", "Verdict", "before", "best_push", "falling", "is_dry_fire", "is_lost_shot", "is_shot", "least_push_s",
    "swinging",
]  # fmt: skip

# -- a push: what the string does to the bow while the arrow is on it
_PEAK_M_S2 = 0.6 * G0  # 25 lb on 4 kg of bow and stabilizers gives 2 g and more at its highest
_IMPULSE_M_S = 0.025  # half of what the lightest arrow and string carry away from the heaviest bow
_COHERENCE = 0.75  # a push keeps its direction; ringing through half a cycle or more comes to under 0.65
_SOUND = 0.9  # a push without any of the shock in it
_SOUND_SHARPNESS = 0.5
_PLUCK_S = 0.0035  # no string pushes for so short a time
_GROWTH = 0.6  # of its peak at once, by noise and where the sensor filters
_GROWTH_M_S3 = 2500 * G0  # a push of 10 g has half of it within 2 ms; a shock grows by as much in one sample
_SHARPNESS = 0.75  # of its peak; the first samples of a knock have 0.9 and more, a push 0.1 to 0.4, clipped 0.7
_UNREST = 0.4  # of its peak on average: within ringing 0.6, after a pluck or a first pull 0.2
_LONGEST_S = 0.040  # visible; 25 ms on the string and a soft start
_SEEN = 2  # samples: one alone may be anything
# The visible part of the push, from the first stir to the shock, as a fraction of the time on the string, least and
# most: a compound's starts from its holding weight and is nothing at first, a recurve's may turn about half way and be
# lost there.
_VISIBLE = {"compound": (0.62, 0.85), "recurve": (0.50, 1.0)}
# Without a launch model. With an arrow a compound takes 12.5 ms and more, a recurve 11.5; empty ones 5.5 to 8.5 and 4.5
# to 8: half way between what an arrow shows at least and an empty bow at most.
_BOUND_S = {"compound": 0.0075, "recurve": 0.0065}
_BOUND_RANGE_S = (0.005, 0.0100)  # a set-up may be wrong; no more than this is believed
_MARGIN = 0.88  # an arrow by a quarter lighter than stated
_ENDS_HIGH = 0.6  # of its peak: a compound's force has fallen by brace height, what a recurve does to its riser has not
_USUAL_VIRTUAL_MASS_KG = 0.006
_DRY_LEAST_S = 0.0022  # shorter, and a knock's own rise through the sensor's filter would do
_DRY_PEAK_M_S2 = 1.0 * G0
_DRY_SHOCK_M_S2 = 10.0 * G0  # all of the bow's energy stays in it

# -- a shock
_SHOCK_M_S2 = 3.0 * G0  # weakest at brace, heavy bow, sensor with a slow filter
_ABOVE_PUSH = 2.0  # sharper than anything within the push by this, or there was no shock
_BULK_S = 0.010  # half of a shock's sharpness comes so soon after its first break: 80 Hz, a cycle less a quarter

# -- before it
_SWING_RAD_S = 0.8  # 45 deg/s: raising and lowering is quicker, a hold with a poor gyro bias slower
_FREE_FALL_M_S2 = 0.4 * G0  # specific force of a thing that falls and turns
_FALL_S = (0.110, 0.015)
_LOST_SHOCK_M_S2 = 10.0 * G0  # without its push seen, only a shock that no tap reaches may count


@dataclass(frozen=True)
class Before:
    """How the bow was in the last quarter of a second before a row of the grid."""

    rate_rad_s: float  # mean magnitude
    force_m_s2: float  # median magnitude of the last tenth
    attitude: NDArray[np.float64]  # (3,) unit vector: which way the sensor felt up
    seconds: float  # how much of it there is


@dataclass(frozen=True)
class Verdict:
    """The push that explains a knock best, if any, and how many samples of it were lost."""

    push: Push | None
    lost: int
    onset: int  # row of the grid where the shock begins


def least_push_s(setup: Setup | None, time_on_string_s: float | None, push: Push) -> float:
    """The visible push, in seconds, under which no arrow was on the string.

    With the same bow the time on the string goes as the root of moving mass, arrow and virtual mass with it and
    virtual mass without (Klopsteg 1943). The bound lies half way, on a logarithmic scale, between the least that an
    arrow shows and the most that an empty bow does, yet no further below the former than the arrow's mass is in
    doubt. Where the kind of bow is not stated the push's own course tells.
    """
    kind = setup.bow.kind if setup else None
    if kind is None:  # what a clipped push was like can't be told: an arrow is given the benefit of the doubt
        kind = "recurve" if push.clipped or push.end >= _ENDS_HIGH else "compound"
    if time_on_string_s is None:
        return _BOUND_S[kind]
    virtual = (setup.bow.virtual_mass_kg if setup else None) or _USUAL_VIRTUAL_MASS_KG
    arrow = (setup.arrow.mass_kg if setup else None) or 4 * virtual
    ratio = (virtual / (virtual + arrow)) ** 0.5
    least, most = _VISIBLE[kind]
    bound = max((least * most * ratio) ** 0.5, _MARGIN * least)
    return float(np.clip(time_on_string_s * bound, *_BOUND_RANGE_S))


def _push_like(push: Push) -> bool:
    return (
        push.based
        and not push.reaches_back
        and push.seen >= _SEEN
        and push.peak_m_s2 >= _PEAK_M_S2
        and push.impulse_m_s >= _IMPULSE_M_S
        and push.coherence >= _COHERENCE
        and push.sharpness <= _SHARPNESS
        and push.unrest <= _UNREST
        and _DRY_LEAST_S <= push.length_s <= _LONGEST_S
    )


def best_push(grid: Grid, score: NDArray[np.float64], knock: Knock) -> Verdict:
    """The push before the latest onset that leaves it whole; none if there is none."""
    bulk, back = round(_BULK_S / grid.period_s), round(0.03 / grid.period_s)
    rows = onset_rows(grid, score, knock)
    quiet = quiet_before(grid, rows[0])
    good: list[Push] = []
    for onset in rows:
        gone = int((~grid.there[onset - 1 : onset + bulk]).sum())  # a hole may hide the bulk of the shock
        if score[onset : onset + bulk + gone + 1].max() < 0.5 * knock.largest_m_s2:
            continue  # a click or a burst well before the shock
        push = push_before(grid, score, quiet, onset)
        if _push_like(push) and _breaks(grid, score, knock, push):
            good.append(push)
    if good:
        push = _last_sound(good, grid.period_s)
        return Verdict(push, int((~grid.there[max(0, push.onset - back) : push.onset]).sum()), push.onset)
    holed = [r for r in rows if not grid.there[max(0, r - round(0.002 / grid.period_s)) : r].all()]
    onset = holed[-1] if holed else rows[0]
    return Verdict(None, int((~grid.there[max(0, onset - back) : onset]).sum()), onset)


def _last_sound(pushes: list[Push], period_s: float) -> Push:
    """The latest onset that leaves the push as it was.

    A push's own curve, and the corners where the sensor clips it, can pass for a first break. Once part of the shock
    is taken for push, it has grown by a leap, it is sharp, or it has lost its direction.
    """
    while len(pushes) > 1 and pushes[0].visible_s < _PLUCK_S and any(_sound(p) for p in pushes[1:]):
        pushes = pushes[1:]  # the rise of a pluck at the release, taken for a push before a shock
    push = pushes[0]
    for later in pushes[1:]:
        growth = max(_GROWTH * push.peak_m_s2, _GROWTH_M_S3 * (later.onset - push.onset) * period_s)
        if (
            later.coherence >= _SOUND
            and later.sharpness <= max(_SOUND_SHARPNESS, push.sharpness)
            and later.peak_m_s2 - push.peak_m_s2 <= growth
            and later.start < pushes[0].onset
        ):
            push = later
    return push


def _sound(push: Push) -> bool:
    return push.coherence >= _SOUND and push.sharpness <= _SOUND_SHARPNESS


def _breaks(grid: Grid, score: NDArray[np.float64], knock: Knock, push: Push) -> bool:
    """The shock is sharper than the push before it."""
    within = score[push.start + 1 : push.onset][grid.there[push.start + 1 : push.onset]]
    return not within.size or knock.largest_m_s2 >= _ABOVE_PUSH * float(median(within))


def _shocks(knock: Knock) -> bool:
    return knock.peak_m_s2 >= _SHOCK_M_S2 and (knock.largest_m_s2 >= _SHOCK_M_S2 or knock.clipped)


def _lasted_s(push: Push, period_s: float) -> float:
    """How long the push was; between samples in doubt, as long as it may have been."""
    return max(push.length_s, push.visible_s) + 0.5 * period_s


def is_shot(push: Push, knock: Knock, least_s: float, period_s: float) -> bool:
    """A push that lasted as with an arrow, and a shock."""
    return _lasted_s(push, period_s) >= least_s and _shocks(knock)


def is_dry_fire(push: Push, knock: Knock, least_s: float, period_s: float) -> bool:
    """A push far too short, and a violent shock."""
    return (
        _lasted_s(push, period_s) < least_s
        and not push.hidden
        and push.peak_m_s2 >= _DRY_PEAK_M_S2
        and (knock.peak_m_s2 >= _DRY_SHOCK_M_S2 or knock.clipped)
    )


def is_lost_shot(lost_s: float, knock: Knock, drawn: bool) -> bool:
    """The push itself was lost: a violent shock right after the hole, out of a hold after a draw, is little else."""
    return drawn and lost_s >= 0.004 and (knock.peak_m_s2 >= _LOST_SHOCK_M_S2 or knock.clipped)


def before(grid: Grid, row: int) -> Before:
    """How the bow was before row `row`."""
    dt = grid.period_s
    a, b = max(0, row - round(0.25 / dt)), max(1, row - round(0.005 / dt))
    rate = grid.rate_rad_s[a:b]
    c, d = (max(0, row - round(s / dt)) for s in _FALL_S)
    fall = grid.force_m_s2[c:d] if d > c else grid.force_m_s2[:1]
    mean = median(fall)
    size = float(np.linalg.norm(mean))
    return Before(
        float(np.sqrt(np.einsum("ij,ij->i", rate, rate)).mean()),
        float(median(np.sqrt(np.einsum("ij,ij->i", fall, fall)))),
        mean / size if size > 0 else np.zeros(3),
        (b - a) * dt,
    )


def swinging(state: Before) -> bool:
    return state.rate_rad_s > _SWING_RAD_S


def falling(state: Before) -> bool:
    return state.force_m_s2 < _FREE_FALL_M_S2 and state.seconds > 0.1
