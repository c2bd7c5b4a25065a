"""A backup comes back whole into either kind of database, or is refused whole; nothing is replaced unasked."""

from __future__ import annotations

import json
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from host.store.store_shots import add, recording, shot
from quiethand.commands.backup import command as backup_command
from quiethand.commands.restore import command as restore_command
from quiethand.errors import InputError
from quiethand.store import RecordingFacts, ShotFilter, Store, open_store
from quiethand.store.identity import content_sha256


def run(command: Any, *args: str) -> str:
    done = CliRunner().invoke(command, args, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def everything(store: Store) -> str:
    shots = store.shot_rows()
    ids = [row["id"] for row in shots]
    whole = [store.shot(i) for i in ids[:2]]
    traces = [None if s is None or s.trace is None else s.trace.rate_deg_s.tolist() for s in whole]
    marks = {i: repr(mark) for i, mark in store.marks(ids).items()}
    contracts = [s.contract for s in store.latest_shots(200)]
    return json.dumps([shots, traces, marks, contracts, repr(store.limit_history())], default=dict)


def fill(store: Store) -> list[int]:
    ids = [add(store, recording(store), shot(n)) for n in range(1, 5)]
    known = [i for i in ids if i is not None]
    store.add_tag(known[:2], "wind")
    store.add_remark(known[0], "elbow high")
    store.set_limit("pointing_shift", 20.0)
    return known


@pytest.fixture
def other_url(store_url: str, request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """An empty store of the other kind."""
    if store_url.startswith("postgresql"):
        return f"sqlite:///{tmp_path / 'other.sqlite3'}"
    return str(request.getfixturevalue("postgres").fresh())


def test_it_comes_back_into_the_same_and_the_other_kind(
    store: Store, store_url: str, other_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path))  # where the copy of a server's store goes
    ids = fill(store)
    before = everything(store)
    told = run(backup_command, str(tmp_path / "b.zip"), "--store", store_url)
    assert "4 shots of 1 recordings (0 of these in it), 4 things typed" in told
    assert run(restore_command, str(tmp_path / "b.zip"), "--check").startswith(f"{tmp_path / 'b.zip'}: whole: 4 shots")

    run(restore_command, str(tmp_path / "b.zip"), "--store", other_url)
    other = open_store(other_url)
    assert everything(other) == before
    assert add(other, recording(other), shot(5)) is not None  # numbers of rows go on behind those that were given
    other.add_tag(ids[:1], "after")
    other.close()

    token = store.change_token()
    store.add_remark(ids[1], "typed since")
    add(store, recording(store), shot(6))
    with pytest.raises(InputError, match="--force"):
        CliRunner().invoke(restore_command, [str(tmp_path / "b.zip"), "--store", store_url], catch_exceptions=False)
    assert store.shot_count() == 5
    told = run(restore_command, str(tmp_path / "b.zip"), "--store", store_url, "--force")
    assert "what was there before is kept in" in told
    assert store.change_token() > token + 2
    assert store.shot_count() == 4
    assert [r.text for r in store.marks(ids)[ids[1]].remarks] == ["typed since"]  # never lost
    aside = Path(told.splitlines()[0].rpartition(" kept in ")[2])
    assert aside.parent == tmp_path
    kept = open_store(f"sqlite:///{aside}")
    assert kept.shot_count() == 5
    kept.close()


def test_nothing_is_replaced_unasked(store: Store, store_url: str, tmp_path: Path) -> None:
    target = tmp_path / "b.zip"
    target.write_text("mine")
    with pytest.raises(InputError, match="is there already"):
        CliRunner().invoke(backup_command, [str(target), "--store", store_url], catch_exceptions=False)
    assert target.read_text() == "mine"
    run(backup_command, str(target), "--store", store_url, "--force")
    assert zipfile.is_zipfile(target)
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


@pytest.mark.parametrize(
    "harm",
    [
        lambda data: data[: len(data) // 2],
        lambda data: data[: len(data) // 3] + bytes([data[len(data) // 3] ^ 1]) + data[len(data) // 3 + 1 :],
        lambda data: b"no zip at all",
        lambda data: b"",
    ],
)
def test_a_damaged_one_is_refused_and_changes_nothing(
    sqlite_url: str, tmp_path: Path, harm: Callable[[bytes], bytes]
) -> None:
    store = open_store(sqlite_url)
    fill(store)
    run(backup_command, str(tmp_path / "b.zip"), "--store", sqlite_url)
    (tmp_path / "b.zip").write_bytes(harm((tmp_path / "b.zip").read_bytes()))
    before = everything(store)
    with pytest.raises(InputError, match="no whole backup"):
        CliRunner().invoke(
            restore_command, [str(tmp_path / "b.zip"), "--store", sqlite_url, "--force"], catch_exceptions=False
        )
    assert everything(store) == before
    store.close()


def test_recordings_go_with_it_and_come_back_where_they_lay(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path / "home"))
    inside, outside, changed = tmp_path / "home/recordings/a.qhr", tmp_path / "b.qhr", tmp_path / "home/c.qhr"
    inside.parent.mkdir(parents=True)
    store = open_store(sqlite_url)
    for path, stored in ((inside, "recordings/a.qhr"), (outside, str(outside)), (changed, "c.qhr")):
        path.write_bytes(path.name.encode() * 1000)
        facts = RecordingFacts(stored, f"id:{path.name}----", 1.8e9, "clock", "whole", content_sha256(path))
        assert add(store, store.put_recording(facts), shot(1)) is not None
    changed.write_bytes(b"another")
    done = CliRunner().invoke(backup_command, [str(tmp_path / "all.zip"), "--recordings", "--store", sqlite_url])
    assert "3 recordings (2 of these in it)" in done.stdout
    assert "c.qhr: is not what was imported" in done.stderr
    store.close()

    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path / "new"))
    outside.unlink()
    fresh = f"sqlite:///{tmp_path / 'fresh.sqlite3'}"
    run(restore_command, str(tmp_path / "all.zip"), "--store", fresh)
    assert (tmp_path / "new/recordings/a.qhr").read_bytes() == inside.read_bytes()
    assert (tmp_path / "new/recordings/b.qhr").read_bytes() == b"b.qhr" * 1000
    again = open_store(fresh)
    assert {r.path for r in again.recordings()} == {"recordings/a.qhr", "recordings/b.qhr", "c.qhr"}
    assert again.shot_count(ShotFilter(archer="Lane 4")) == 3
    again.close()
    shutil.rmtree(tmp_path / "new")
