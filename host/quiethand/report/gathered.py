"""What a report is made of: an archer's shots of a span of days and before it, with their impacts and set-ups."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.store import Store
    from quiethand.store.typed_records import Impact

__all__ = ["PARTS", "SHOWN", "Gathered", "Row", "ShotSet", "Shown", "gather"]

Row = Mapping[str, Any]  # of the store: names, time, and the measures of `SHOWN` with their uncertainties

_MOST: Final = 5000  # shots of one answer of the store; some 25 years of competition days
_EARLIER: Final = 200  # shots before the span that what changed is held against


@dataclass(frozen=True)
class Shown:
    """A measure as a report shows it."""

    column: str
    label: str
    unit: str
    factor: float = 1.0  # from the column's unit to this one
    axis: str | None = None  # "cant", "pitch", "yaw", or "right", "up" at the target: the sign is told in words
    digits: int = 2


SHOWN: Final = (
    Shown("time_on_string_s", "time on the string", "ms", 1e3, digits=2),
    Shown("rotation_yaw_deg", "turn sideways (yaw) when the arrow left", "deg", axis="yaw", digits=3),
    Shown("rotation_pitch_deg", "turn in height (pitch)", "deg", axis="pitch", digits=3),
    Shown("rotation_cant_deg", "turn about the arrow (cant)", "deg", axis="cant", digits=3),
    Shown("pointing_right_mm", "that yaw carried to the target", "mm", axis="right", digits=1),
    Shown("pointing_up_mm", "that pitch carried to the target", "mm", axis="up", digits=1),
    Shown("mean_torque_yaw_nm", "mean torque sideways (yaw)", "N m", axis="yaw", digits=3),
    Shown("mean_torque_pitch_nm", "mean torque in height (pitch)", "N m", axis="pitch", digits=3),
    Shown("tremor_rms_yaw_deg_s", "tremor in the hold (yaw)", "deg/s", digits=2),
)
PARTS: Final = tuple(
    f"{part}_{axis}_deg" for part in ("carried_in", "struck", "pressed") for axis in ("yaw", "pitch", "cant")
)
_RATES: Final = ("rate_yaw_deg_s", "rate_pitch_deg_s")


@dataclass(frozen=True)
class ShotSet:
    """Shots with one bow and arrow, the oldest first."""

    bow: str
    arrow: str
    rows: tuple[Row, ...]
    earlier: tuple[Row, ...]  # before the span, the last 200
    setup: Setup | None  # of the last shot

    @property
    def name(self) -> str:
        return self.arrow or "arrow not named"


@dataclass(frozen=True)
class Gathered:
    archer: str
    first_day: str
    last_day: str
    days: tuple[str, ...]  # with shots
    sets: tuple[ShotSet, ...]  # most shots first
    impacts: tuple[tuple[Impact, Row], ...]  # joined to a shot of the span
    free_impacts: int
    excluded: int
    stale: int  # measured by an earlier method
    left_out: int  # shots beyond what one answer of the store holds
    limits: Mapping[str, tuple[float, str]]  # set since, of the most shot bow, as of the last day

    @property
    def shots(self) -> int:
        return sum(len(one.rows) for one in self.sets)


def columns() -> tuple[str, ...]:
    """All measures that a report needs, each once, with their uncertainties where one is kept."""
    from quiethand.shots.measure_columns import MEASURES

    names = [*(shown.column for shown in SHOWN), *PARTS, *_RATES]
    with_sigma = (name for column in names for name in (column, MEASURES[column].sigma) if name is not None)
    return tuple(dict.fromkeys(with_sigma))


def gather(store: Store, archer: str, first_day: str | None, last_day: str | None) -> Gathered:
    """Ask the store.

    Raises:
        InputError: no shot of this archer in these days.
    """
    from quiethand.shots.method import METHOD_VERSION
    from quiethand.store import ShotFilter

    wanted = ShotFilter(archer=archer, day_from=first_day, day_to=last_day)
    held = store.shot_rows(wanted, limit=_MOST, measures=columns())[::-1]
    used = [row for row in held if not row["excluded"]]
    if not used:
        said = f"{len(held)} shots, all of them excluded" if held else "no shot"
        days = f" from {first_day or 'the first day'} to {last_day or 'today'}" if first_day or last_day else ""
        raise InputError(f"{said} of {archer or 'an archer without a name'}{days}", do="choose other days")
    first, last = first_day or used[0]["day"], last_day or used[-1]["day"]
    sets = _sets(store, archer, first, used)
    impacts = _impacts(store, used)
    of_days = ShotFilter(archer=archer, day_from=first, day_to=last)
    return Gathered(
        archer=archer,
        first_day=first,
        last_day=last,
        days=tuple(dict.fromkeys(row["day"] for row in used)),
        sets=sets,
        impacts=impacts,
        free_impacts=len(store.impacts(of_days, free=True, limit=_MOST)),
        excluded=len(held) - len(used),
        stale=sum(row["method"] != METHOD_VERSION for row in used),
        left_out=store.shot_count(wanted) - len(held) if len(held) == _MOST else 0,
        limits={
            name: (limit.value, limit.unit)
            for name, limit in store.limits(archer, sets[0].bow, last).items()
            if limit.value is not None
        },
    )


def _sets(store: Store, archer: str, first_day: str, rows: Sequence[Row]) -> tuple[ShotSet, ...]:
    from quiethand.store import ShotFilter

    counted = Counter((row["bow"], row["arrow"]) for row in rows)
    sets = []
    for (bow, arrow), _ in counted.most_common():
        own = tuple(row for row in rows if (row["bow"], row["arrow"]) == (bow, arrow))
        before = ShotFilter(archer=archer, bow=bow, arrow=arrow, before_unix_s=own[0]["unix_s"], excluded=False)
        found = store.shot_rows(before, limit=_EARLIER, measures=columns())
        earlier = tuple(row for row in found[::-1] if row["day"] < first_day)
        sets.append(ShotSet(bow, arrow, own, earlier, _setup(store, own[-1]["setup_id"])))
    return tuple(sets)


def _setup(store: Store, setup_id: int) -> Setup | None:
    from quiethand.bow.setup_file import setup_from_document

    document = store.setup_document(setup_id)
    if not document:
        return None
    try:
        return setup_from_document(document, "set-up", later_keys=True)
    except InputError:  # one that a later program wrote, or that was taken in raw
        return None


def _impacts(store: Store, rows: Iterable[Row]) -> tuple[tuple[Impact, Row], ...]:
    by_id = {row["id"]: row for row in rows}
    marks = store.marks(list(by_id))
    return tuple((mark.impact, by_id[shot_id]) for shot_id, mark in marks.items() if mark.impact is not None)
