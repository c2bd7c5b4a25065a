"""Two sets of shots: what the address says of them, and what is compared. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import parse_qs, urlencode

from quiethand.errors import InputError
from quiethand.judge.at_target import at_target
from quiethand.judge.comparison import Comparison, compare_many
from quiethand.store.records import ShotFilter

from quiethand_dashboard.charted import MEASURES_SHOWN
from quiethand_dashboard.telling import is_day

if TYPE_CHECKING:
    from quiethand.store.records import Shooter

__all__ = [
    "COMPARED", "FIELDS", "WHICH", "Chosen", "address_of", "chosen", "comparisons", "could_be", "csv_text",
]  # fmt: skip

WHICH: Final = ("a", "b")
FIELDS: Final = ("archer", "bow", "arrow", "day_from", "day_to", "tag", "flagged")
# What one looks at when two sets are held against each other; each measure more makes chance finds likelier.
COMPARED: Final = (
    "pointing_right_mm",
    "pointing_up_mm",
    "time_on_string_s",
    "rotation_cant_deg",
    "mean_torque_yaw_nm",
    "mean_torque_pitch_nm",
    "mean_torque_cant_nm",
    "hold_duration_s",
    "tremor_rms_yaw_deg_s",
)
_LONGEST: Final = 200  # characters of a value that the address gives


@dataclass(frozen=True)
class Chosen:
    """What both sets are narrowed by; a field that is absent does not narrow."""

    a: Mapping[str, str]
    b: Mapping[str, str]

    def filter(self, which: str) -> ShotFilter:
        """Without `flagged`: limits may have been set since the shots were stored, so that it is judged anew."""
        fields = {name: value for name, value in getattr(self, which).items() if name != "flagged"}
        return ShotFilter(**fields, excluded=False)

    def flagged(self, which: str) -> bool | None:
        return {"yes": True, "no": False}.get(getattr(self, which).get("flagged", ""))


def chosen(search: str | None, shooters: Sequence[Shooter]) -> Chosen:
    """What the address says ("?a.arrow=Match+arrow&b.arrow=..."); where it says nothing, sets that are worth a look."""
    stated = parse_qs((search or "").lstrip("?"))
    found: dict[str, dict[str, str]] = {"a": {}, "b": {}}
    for which in WHICH:
        for name in FIELDS:
            value = stated.get(f"{which}.{name}", [""])[0][:_LONGEST]
            if name.startswith("day") and not is_day(value):
                continue
            if value and (name != "flagged" or value in ("yes", "no")):
                found[which][name] = value
    if not any(key.startswith(("a.", "b.")) for key in stated):
        found["a"], found["b"] = could_be(shooters)
    return Chosen(found["a"], found["b"])


def could_be(shooters: Sequence[Shooter]) -> tuple[dict[str, str], dict[str, str]]:
    """For a start: two arrows of the archer who shot last; else that archer's shots and everybody else's."""
    if not shooters:
        return {}, {}
    first = shooters[0]
    own = {"archer": first.archer, "bow": first.bow}
    arrows = [s.arrow for s in shooters if (s.archer, s.bow) == (first.archer, first.bow)]
    if len(arrows) > 1:
        return own | {"arrow": arrows[0]}, own | {"arrow": arrows[1]}
    others = [s for s in shooters if s.archer != first.archer]
    return ({"archer": first.archer}, {"archer": others[0].archer}) if others else (own, {})


def address_of(a: Mapping[str, Any], b: Mapping[str, Any]) -> str:
    """The address that `chosen` reads back; an empty choice is kept as one that narrows nothing."""
    stated = {f"{which}.{name}": fields[name] for which, fields in (("a", a), ("b", b)) for name in FIELDS
              if fields.get(name)}  # fmt: skip
    return "?" + urlencode(stated or {"a.archer": ""})


def comparisons(
    a: Sequence[Mapping[str, Any]], b: Sequence[Mapping[str, Any]], distance_m: float | None
) -> tuple[list[Comparison], dict[str, str]]:
    """Every measure of `COMPARED` that both sets have, in the unit shown, and why others can't be compared.

    Args:
        a, b: the store's measures of each shot, in order of time.
        distance_m: to the target, where all shots have one.
    """
    values, units, targets = {}, {}, {}
    for column in COMPARED:
        shown = MEASURES_SHOWN[column]
        both = [[None if s[column] is None else s[column] * shown.factor for s in one] for one in (a, b)]
        if any(all(v is None for v in one) for one in both):
            continue
        values[column], units[column] = (both[0], both[1]), shown.unit
        targets[column] = at_target(column, distance_m=distance_m)
    try:
        return compare_many(values, units=units, targets=targets)
    except InputError as wrong:
        return [], {"": wrong.what}


def csv_text(found: Sequence[Comparison]) -> str:
    """A line for each measure."""
    lines = ["measure,unit,shots_a,shots_b,mean_a,mean_b,difference,low_95,high_95,p,p_adjusted,smallest_shown"]
    lines += [
        f"{c.measure},{c.unit},{c.shots_a},{c.shots_b},{c.a!r},{c.b!r},{c.difference!r},{c.low!r},{c.high!r},"
        f"{c.p_value!r},{c.p_adjusted!r},{c.could_show.smallest!r}"
        for c in found
    ]
    return "\r\n".join(lines) + "\r\n"
