"""Which stored shots a verb is to judge: filters as a person types them, and what those shots hold."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.store import ShotFilter, Store

__all__ = ["Chosen", "chosen_shots", "filter_of"]

KEYS: Final = ("archer", "bow", "arrow", "day", "tag", "face")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
MOST: Final = 5000


@dataclass(frozen=True)
class Chosen:
    rows: tuple[dict[str, Any], ...]  # in order of time, with the measures that were asked for
    excluded: int  # shots that fit and that a person has excluded: not among the rows


def filter_of(text: str, where: str) -> ShotFilter:
    """ "archer=Lane 4 arrow=Slow day=2026-01-10..2026-02-01" as a filter; a value runs to the next known word and "=".

    Raises:
        InputError: a word that is none of archer, bow, arrow, day, tag, face; no value; or a day that is none.
    """
    from quiethand.store import ShotFilter

    found = list(re.finditer(r"(?:^|\s)(\w+)=", text))
    do = 'write it as in "archer=Lane 4 arrow=Slow day=2026-01-10..2026-02-01"'
    if not found or text[: found[0].start()].strip():
        raise InputError(f'"{text}" names no set of shots', where=where, do=do)
    values: dict[str, Any] = {}
    for this, after in zip(found, [*found[1:], None], strict=True):
        key, value = this.group(1), text[this.end() : after.start() if after else len(text)].strip()
        if key not in KEYS:
            raise InputError(f'"{key}" chooses nothing', where=where, do=f"known are {', '.join(KEYS)}")
        if not value or key in values:
            raise InputError(f'"{key}" needs one value', where=where, do=do)
        values[key] = value
    if "day" in values:
        first, dots, last = values.pop("day").partition("..")
        last = last if dots else first
        if not all(_DAY.fullmatch(d) for d in (first, last)) or first > last:
            raise InputError(f'"{first}{dots}{last if dots else ""}" is no span of days', where=where, do=do)
        values |= {"day_from": first, "day_to": last}
    return ShotFilter(**values)


def chosen_shots(store: Store, wanted: ShotFilter, measures: list[str]) -> Chosen:
    """The shots that fit and are not excluded, the oldest first, at most 5000 (the newest ones)."""
    rows = store.shot_rows(replace(wanted, excluded=False), limit=MOST, measures=measures)
    return Chosen(tuple(reversed(rows)), store.shot_count(replace(wanted, excluded=True)))
