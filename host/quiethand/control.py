"""How the page asks for a recording, and how it is answered: two small files in the home, and no port.

The page writes `control.json`, one wish at a time; the process that supervises the recorder looks for it, does what may
be done, and says in `supervisor.json` how things stand. A wish names a port only by a name that the system lists (or
the one that the person at the terminal gave) and a recording only by its name: whoever holds the page reaches nothing
outside the data folder with it.
"""

from __future__ import annotations

import dataclasses
import re
import time
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal, get_args

from quiethand.home import home, place_in_home
from quiethand.json_file import read_json, write_json

__all__ = [
    "CALIBRATIONS",
    "Answer",
    "Calibration",
    "Purpose",
    "SupervisorState",
    "Wish",
    "read_supervisor",
    "read_wish",
    "recording_of",
    "send_wish",
    "write_supervisor",
]

Calibration = Literal["still", "six-face", "mount", "inertia"]
Purpose = Literal["shots", "still", "six-face", "mount", "inertia"]
What = Literal["record", "stop", "calibrate"]
CALIBRATIONS: Final[tuple[Calibration, ...]] = get_args(Calibration)

_STALE_AFTER_S: Final = 15.0  # longer than the supervisor waits for an analysis that ends: it has gone
_NAME: Final = re.compile(r"[A-Za-z0-9_-]{1,80}\.qhr")
_OPTIONS: Final = frozenset({"axis", "mass", "cord-length", "spacing"})  # of the calibrations, as the verb names them
_MOST_OPTION: Final = 80


@dataclass(frozen=True)
class Wish:
    """What the page asks for.

    Attributes:
        what: "record" (ends the recording that runs), "stop", or "calibrate" from a recording.
        purpose: of a recording, or which calibration.
        port: of a recording; None: the one that the supervisor was started with.
        recording: a name within the folder of recordings, of a calibration.
        options: of a calibration, as `quiethand calibrate` names them.
        write: put the result into the set-up; else only say what would be written.
    """

    what: What
    purpose: Purpose = "shots"
    port: str | None = None
    recording: str = ""
    options: Mapping[str, str] = field(default_factory=dict)
    write: bool = False
    id: str = ""
    written_unix_s: float = 0.0


@dataclass(frozen=True)
class Answer:
    """To the wish of this id; `lines` are for people."""

    id: str
    ok: bool
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class SupervisorState:
    """What runs now.

    Attributes:
        purpose: of the recording that runs; None where none does.
        recording: its name.
        port: that is recorded; else the one that it was started with, "" where it was given none.
        ports: those that the page may choose from.
        setup: the set-up file's name; "" where it was given none.
        answer: to the last wish.
    """

    purpose: Purpose | None = None
    recording: str = ""
    port: str = ""
    ports: tuple[str, ...] = ()
    setup: str = ""
    answer: Answer | None = None
    written_unix_s: float = 0.0


def send_wish(wish: Wish) -> str:
    """Put a wish where the supervisor finds it; returns the id by which its answer is known.

    Raises:
        InputError: the data folder can't be made.
        OSError: it can't be written to.
    """
    named = dataclasses.replace(wish, id=uuid.uuid4().hex, written_unix_s=time.time())
    write_json(place_in_home("control.json"), dataclasses.asdict(named))
    return named.id


def read_wish(folder: Path) -> Wish | None:
    """The last wish, if it is one: nothing that a page wrote is trusted to be."""
    values = read_json(folder / "control.json")
    if values is None:
        return None
    try:
        wish = Wish(**values)
    except TypeError:
        return None
    return wish if _sound(wish) else None


def _sound(wish: Wish) -> bool:
    options: Any = wish.options
    return (
        wish.what in get_args(What)
        and wish.purpose in get_args(Purpose)
        and (wish.port is None or isinstance(wish.port, str))
        and isinstance(wish.recording, str)
        and isinstance(options, dict)
        and all(key in _OPTIONS and isinstance(v, str) and len(v) <= _MOST_OPTION for key, v in options.items())
        and isinstance(wish.write, bool)
        and isinstance(wish.id, str)
        and isinstance(wish.written_unix_s, float | int)
    )


def recording_of(folder: Path, name: str) -> Path | None:
    """The recording of this name in a home; None where there is none, or the name would lead elsewhere."""
    if not _NAME.fullmatch(name):
        return None
    path = folder / "recordings" / name
    return path if path.is_file() and not path.is_symlink() else None


def write_supervisor(folder: Path, state: SupervisorState) -> None:
    """Say how things stand.

    Raises:
        OSError: it can't be written.
    """
    write_json(
        folder / "supervisor.json", dataclasses.asdict(dataclasses.replace(state, written_unix_s=time.time()))
    )  # fmt: skip


def read_supervisor(folder: Path | None = None, *, now_unix_s: float | None = None) -> SupervisorState | None:
    """How things stand; None where no supervisor runs."""
    values = read_json((folder or home()) / "supervisor.json")
    if values is None:
        return None
    try:
        answer = values.pop("answer", None)
        told = None if answer is None else Answer(answer["id"], bool(answer["ok"]), tuple(answer["lines"]))
        values["ports"] = tuple(values.get("ports", ()))
        state = SupervisorState(answer=told, **values)
    except (TypeError, KeyError):  # of another version
        return None
    now = time.time() if now_unix_s is None else now_unix_s
    return state if now - state.written_unix_s <= _STALE_AFTER_S else None
