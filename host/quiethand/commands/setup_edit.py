"""Changing values in a set-up file that a person wrote: comments and the file before stay, nothing is half written."""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quiethand.bow.setup_file import read_setup, setup_from_document
from quiethand.errors import InputError

if TYPE_CHECKING:
    from tomlkit.items import Item

__all__ = ["Change", "SetupEdit", "plan_edit", "write_edit"]

Value = str | Sequence[str] | Sequence[float] | Sequence[Sequence[float]]


@dataclass(frozen=True)
class Change:
    """One key to set, and where its value came from for the remark behind it."""

    table: str
    key: str
    value: Value
    remark: str
    axis: str | None = None  # of a key that is itself a table, as inertia is


@dataclass(frozen=True)
class SetupEdit:
    path: Path
    before: bytes
    after: bytes
    lines: tuple[str, ...]  # the keys as they will stand, for a person


def plan_edit(path: str | Path, changes: Sequence[Change]) -> SetupEdit:
    """Work out the new file without touching anything, and make sure that it reads.

    Raises:
        InputError: the file cannot be read, or the new values contradict others in it.
    """
    import tomllib

    import tomlkit

    read_setup(path)  # every mistake that was there before is told first, by its key
    before = Path(path).read_bytes()
    mark = b"\xef\xbb\xbf" if before.startswith(b"\xef\xbb\xbf") else b""
    document: Any = tomlkit.parse(before[len(mark) :].decode("utf-8"))
    lines = []
    for change in changes:
        if change.table not in document:
            document[change.table] = tomlkit.table()
        lines.append(_set(document[change.table], change))
    after = tomlkit.dumps(document)
    try:
        setup_from_document(tomllib.loads(after), str(path))
    except InputError as wrong:
        raise InputError(
            f"with this result the set-up would not hold together: {wrong.what}", where=wrong.where,
            do="check this measurement and the values that are there; nothing was written",
        ) from wrong  # fmt: skip
    return SetupEdit(Path(path), before, mark + after.encode("utf-8"), tuple(lines))


def _set(table: Any, change: Change) -> str:
    import tomlkit

    holder, key = table, change.key
    if change.axis is not None:
        if key not in table:
            table[key] = tomlkit.inline_table()
        if isinstance(table[key], Mapping) and not isinstance(table[key], tomlkit.items.InlineTable):
            holder, key = table[key], change.axis  # [bow.inertia] on lines of its own
        else:
            table[key][change.axis] = change.value
    if holder is not table or change.axis is None:
        comment = _comment(holder[key]) if key in holder else ""
        holder[key] = _item(change.value)
        if comment:
            holder[key].comment(comment)
    item = holder[key]
    item.comment(_with_remark(_comment(item), change))
    return f"{change.table}.{change.key} = {item.as_string()}  # {_comment(item)}"


def _item(value: Value) -> Item:
    import tomlkit

    if isinstance(value, str):
        return tomlkit.item(value)
    rows = [_item(v) if not isinstance(v, (str, float, int)) else v for v in value]
    array = tomlkit.array()
    array.extend(rows)
    return array


def _comment(item: Any) -> str:
    return re.sub(r"^#\s?", "", str(item.trivia.comment))


def _with_remark(comment: str, change: Change) -> str:
    """The person's own words stay; an earlier calibration's give way to this one's."""
    tag = "calibrated" if change.axis is None else f"{change.axis} calibrated"
    kept = [part for part in comment.split("; ") if part and not part.startswith(f"{tag}:")]
    return "; ".join([*kept, f"{tag}: {change.remark}"])


def write_edit(edit: SetupEdit) -> Path:
    """Keep the file as it was beside it, as FILE.before-<n>, and put the new one in its place in one step.

    Returns:
        Where the file before is kept.

    Raises:
        InputError: it changed meanwhile, or cannot be written; it is then as it was.
    """
    target = Path(os.path.realpath(edit.path))  # through a link to the file itself
    temporary: str | None = None
    try:
        if target.read_bytes() != edit.before:
            raise InputError("was changed by somebody else meanwhile", where=str(edit.path), do="run this again")
        mode = target.stat().st_mode & 0o777
        handle, temporary = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        _pour(handle, edit.after)
        os.chmod(temporary, mode)
        kept = _keep(target, edit.before, mode)
        os.replace(temporary, target)
        temporary = None
    except OSError as trouble:
        why = trouble.strerror or str(trouble)
        do = "check the folder and the disk; the file is as it was"
        raise InputError(f"cannot be written ({why})", where=str(edit.path), do=do) from trouble
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
    return kept


def _keep(target: Path, data: bytes, mode: int) -> Path:
    """The next free number after the highest there is, so that the order of numbers is the order of time."""
    pattern = re.compile(re.escape(target.name) + r"\.before-(\d{1,9})")
    numbers = [int(m[1]) for name in os.listdir(target.parent) if (m := pattern.fullmatch(name))]
    number = max(numbers, default=0) + 1
    while True:
        kept = target.with_name(f"{target.name}.before-{number}")
        try:
            handle = os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        except FileExistsError:
            number += 1
            continue
        _pour(handle, data)
        return kept


def _pour(handle: int, data: bytes) -> None:
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
