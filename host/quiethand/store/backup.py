"""A backup: one zip with the store as an SQLite file, the list of what people typed, and, if wanted, the recordings,
each with its hash. It is made from any store and restored into any, so that a club can move.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Final

from quiethand.errors import InputError
from quiethand.store.copying import counts, sqlite_copy
from quiethand.store.engine import make_engine, reading
from quiethand.store.events import events_of
from quiethand.store.identity import content_sha256
from quiethand.store.journal import write_journal
from quiethand.store.records import RecordingRecord
from quiethand.store.schema import HEAD
from quiethand.store.store import Store

__all__ = ["DATABASE", "BackupFacts", "KeptRecording", "check_backup", "same_content", "take_out", "unpacked",
           "write_backup"]  # fmt: skip

FORMAT: Final = 1
DATABASE: Final = "shots.sqlite3"
_TYPED: Final = "typed.jsonl"
_MANIFEST: Final = "manifest.json"
_MANIFEST_LIMIT: Final = 1 << 26
_PIECE: Final = 1 << 20


@dataclass(frozen=True)
class KeptRecording:
    """A recording that a store knows. `member`: its name in the zip, None where the backup has its hash alone."""

    path: str  # as stored
    sha256: str | None
    member: str | None


@dataclass(frozen=True)
class BackupFacts:
    created: str
    software: str
    schema: str
    counts: dict[str, int]
    recordings: tuple[KeptRecording, ...]


def write_backup(
    store: Store, path: Path, recordings: Iterable[tuple[RecordingRecord, Path | None]], software: str
) -> BackupFacts:
    """Write a backup and check it. Killed in the middle, it leaves an unfinished `.part` and whatever was there before.

    Args:
        store: open; others may go on using it.
        path: of the zip, replaced where it exists.
        recordings: that the store knows, each with its file where the backup is to hold it.
        software: that makes it.

    Raises:
        InputError: it can't be written, or does not come back as it was written.
    """
    unfinished = path.with_name(path.name + ".part")
    try:
        with tempfile.TemporaryDirectory(prefix="quiethand-", dir=path.parent) as folder:
            database = Path(folder) / DATABASE
            sqlite_copy(store.engine, str(database))
            with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
                _write(archive, database, list(recordings), software)
            with unfinished.open("rb") as file:
                os.fsync(file.fileno())
        facts = check_backup(unfinished)
        unfinished.replace(path)
    except OSError as error:
        raise InputError(
            f"the backup can't be written ({error.strerror})", where=str(path), do="choose another place, or make room"
        ) from None
    return facts


def _write(
    archive: zipfile.ZipFile, database: Path, recordings: list[tuple[RecordingRecord, Path | None]], software: str
) -> None:
    engine = make_engine(f"sqlite:///{database}")
    try:
        with reading(engine) as connection:
            rows = counts(connection)
            with archive.open(_TYPED, "w") as typed:
                write_journal(typed, events_of(connection))
    finally:
        engine.dispose()
    hashes = {DATABASE: _put(archive, DATABASE, database)}
    kept = []
    for record, file in recordings:
        member = None
        if file is not None:
            member = f"recordings/{record.id}{file.suffix}"
            hashes[member] = _put(archive, member, file)
        kept.append({"path": record.path, "sha256": record.sha256, "member": member})
    hashes[_TYPED] = hashlib.sha256(archive.read(_TYPED)).hexdigest()
    manifest = {
        "format": FORMAT,
        "created": datetime.now(UTC).isoformat(timespec="seconds"),
        "software": software,
        "schema": HEAD,
        "counts": rows,
        "sha256": hashes,
        "recordings": kept,
    }
    archive.writestr(_MANIFEST, json.dumps(manifest, indent=1))


def _put(archive: zipfile.ZipFile, member: str, file: Path) -> str:
    """The hash of what went in."""
    digest = hashlib.sha256()
    with file.open("rb") as source, archive.open(member, "w", force_zip64=True) as target:
        while piece := source.read(_PIECE):
            digest.update(piece)
            target.write(piece)
    return digest.hexdigest()


def check_backup(path: Path) -> BackupFacts:
    """Read a backup whole: every hash, the database's own check, its rows counted.

    Raises:
        InputError: it is none, or damaged.
    """
    with unpacked(path) as (facts, _archive, _database):
        return facts


@contextmanager
def unpacked(path: Path) -> Iterator[tuple[BackupFacts, zipfile.ZipFile, Path]]:
    """A backup, checked, with its database as a file that is gone afterwards.

    Raises:
        InputError: it is none, or damaged.
    """
    try:
        with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory(prefix="quiethand-") as folder:
            facts = _checked(archive, path, Path(folder) / DATABASE)
            yield facts, archive, Path(folder) / DATABASE
    except FileNotFoundError:
        raise InputError("no such file", where=str(path), do="check the name and the folder") from None
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as why:
        raise _damaged(path, str(why) or "it ends too early") from None
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})", where=str(path), do="try a copy of it") from None


def _damaged(path: Path, why: str) -> InputError:
    return InputError(f"is no whole backup ({why})", where=str(path), do="use another; nothing was changed")


def _checked(archive: zipfile.ZipFile, path: Path, database: Path) -> BackupFacts:
    manifest = _manifest(archive, path)
    for member, sha256 in manifest["sha256"].items():
        digest = hashlib.sha256()
        try:
            with archive.open(member) as source:
                target: IO[bytes] | None = database.open("wb") if member == DATABASE else None
                while piece := source.read(_PIECE):
                    digest.update(piece)
                    if target is not None:
                        target.write(piece)
                if target is not None:
                    target.close()
        except (KeyError, zipfile.zlib.error) as why:  # type: ignore[attr-defined]
            raise _damaged(path, f"{member}: {why}") from None
        if digest.hexdigest() != sha256:
            raise _damaged(path, f"{member} is not what was written")
    if not database.exists():
        raise _damaged(path, f"it holds no {DATABASE}")
    _check_database(database, path, manifest["counts"])
    kept = tuple(KeptRecording(one["path"], one["sha256"], one["member"]) for one in manifest["recordings"])
    return BackupFacts(manifest["created"], manifest["software"], manifest["schema"], manifest["counts"], kept)


def _manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    try:
        if archive.getinfo(_MANIFEST).file_size > _MANIFEST_LIMIT:
            raise _damaged(path, "its list is too long")
        manifest: dict[str, Any] = json.loads(archive.read(_MANIFEST))
        if manifest["format"] != FORMAT:
            raise InputError(
                f"is a backup of format {manifest['format']}, this program knows {FORMAT}",
                where=str(path),
                do="update quiethand",
            )
        for name in ("created", "software", "schema", "counts", "sha256", "recordings"):
            manifest[name]
    except (KeyError, ValueError, TypeError):
        raise _damaged(path, f"it has no sound {_MANIFEST}") from None
    return manifest


def _check_database(database: Path, path: Path, expected: dict[str, int]) -> None:
    file = sqlite3.connect(database)
    try:
        told = [row[0] for row in file.execute("PRAGMA integrity_check")]
        if told != ["ok"]:
            raise _damaged(path, f"the database says: {told[0]}")
        if file.execute("PRAGMA foreign_key_check").fetchall():
            raise _damaged(path, "rows refer to others that are not there")
        for table, rows in expected.items():
            if not table.isidentifier() or file.execute(f"SELECT count(*) FROM {table}").fetchone()[0] != rows:
                raise _damaged(path, f"{table} has not the rows that it had")
    except sqlite3.Error as why:
        raise _damaged(path, str(why)) from None
    finally:
        file.close()


def take_out(archive: zipfile.ZipFile, member: str, target: Path) -> None:
    """Write one member to a file, whole or not at all."""
    unfinished = target.with_name(target.name + ".part")
    with archive.open(member) as source, unfinished.open("wb") as file:
        shutil.copyfileobj(source, file, _PIECE)
    unfinished.replace(target)


def same_content(path: Path, sha256: str | None) -> bool:
    """Whether a file is there and holds what was stored."""
    try:
        return sha256 is not None and content_sha256(path) == sha256
    except OSError:
        return False
