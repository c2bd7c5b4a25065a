"""Killed at random moments of importing, measuring again, backing up, migrating and typing, a store opens, passes its
integrity check and goes on to the same end as if nothing had happened.

The long run, from the top of the project (some 3 minutes):

    QUIETHAND_KILLS=50 python -m pytest tests/faults/test_store_killed.py -s
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner
from host.store.store_shots import add, recording, shot
from quiethand.commands.backup import command as backup_command
from quiethand.commands.import_ import import_recordings
from quiethand.commands.reanalyse import command as reanalyse_command
from quiethand.emulator import Scenario, setup_document, write_recording
from quiethand.store import open_store
from quiethand.store.backup import check_backup

KILLS = int(os.environ.get("QUIETHAND_KILLS", "5"))  # 50 in the long run
SEED = 20261125


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("made") / "evening.qhr"
    scenario = Scenario(seed=8, habit="grip_torque", shots=2, every_s=6.5, rate_hz=500.0)
    write_recording(path, scenario, unix_s=1_768_000_000.0, session=setup_document(scenario, archer="Lane 6"))
    return path


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "home"
    folder.mkdir()
    monkeypatch.setenv("QUIETHAND_HOME", str(folder))
    monkeypatch.delenv("QUIETHAND_STORE", raising=False)
    return folder


def in_a_child(work: Callable[[], object], kill_after_s: float | None) -> float:
    """Run `work` in a process of its own; killed after so long unless it has ended. Gives how long it ran."""
    begun = time.monotonic()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            work()
            status = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(status)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    _, ended = os.waitpid(child, 0)
    killed = os.WIFSIGNALED(ended) and os.WTERMSIG(ended) == signal.SIGKILL
    assert killed or os.WEXITSTATUS(ended) == 0, "the work itself failed"
    return time.monotonic() - begun


def killed_again_and_again(
    home: Path, work: Callable[[], object], state: Callable[[], str], *, start: Path, whole: Callable[[], None]
) -> None:
    """From the same start each time: kill, check, go on to the end, compare.

    Args:
        home: where `work` works; brought back to `start` each time.
        work: what is killed, and then done again in full.
        state: all that matters of what it has made.
        start: a folder that holds what is there before.
        whole: raises unless what a kill left is sound.
    """

    def begin() -> None:
        shutil.rmtree(home)
        shutil.copytree(start, home)

    begin()
    work()  # here, so that every child has its imports done: kills shall hit the work
    expected = state()
    begin()
    takes_s = in_a_child(work, None)
    random = Random(SEED)
    middle = 0
    for number in range(KILLS):
        begin()
        after_s = random.uniform(0.0, 1.05 * takes_s)
        in_a_child(work, after_s)
        whole()
        middle += state() != expected
        work()
        assert state() == expected, f"kill {number} after {after_s:.4f} s of {takes_s:.4f}, seed {SEED}"
    print(f"{KILLS} kills within {takes_s:.3f} s, seed {SEED}: {middle} left something to be done")


def sound(home: Path) -> None:
    """The file itself, before our program mends anything, and then the program."""
    path = home / "shots.sqlite3"
    if path.exists():
        file = sqlite3.connect(path)
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert file.execute("PRAGMA foreign_key_check").fetchall() == []
        file.close()
    open_store().close()


def stored() -> str:
    """All figures and the list of what was typed, without the ids of rows and the times of typing."""
    store = open_store()
    shots = [[s.recording, s.number, s.unix_s, s.archer, s.method, dict(s.measures)] for s in store.latest_shots(200)]
    recordings = [(r.identity, r.state, r.shots) for r in store.recordings()]
    rest = [repr([r.reason for r in store.rejected(99)]), store.remembered_paths(), store.days()]
    store.close()
    return json.dumps([shots, recordings, rest])


def test_import(home: Path, evening: Path, tmp_path: Path) -> None:
    open_store().close()
    shutil.copytree(home, tmp_path / "start")

    def work() -> None:
        store = open_store()
        assert all(found >= 0 for _, found, _ in import_recordings(store, [evening], jobs=1))
        store.close()

    killed_again_and_again(home, work, stored, start=tmp_path / "start", whole=lambda: sound(home))


def test_measuring_again(home: Path, evening: Path, tmp_path: Path) -> None:
    store = open_store()
    assert [found for _, found, _ in import_recordings(store, [evening], jobs=1)] == [2]
    store.add_remark(store.latest_shots(1)[0].id, "elbow high")
    with store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE shots SET method = 0, rotation_yaw_deg = rotation_yaw_deg + 0.01")
    store.close()
    home.rename(tmp_path / "start")
    home.mkdir()

    def work() -> None:
        done = CliRunner().invoke(reanalyse_command, ["--yes", "--jobs", "1"])
        assert done.exit_code == 0, done.output

    def state() -> str:
        store = open_store()
        ids = [s.id for s in store.latest_shots(9)]
        kept = [[(k.method, k.number) for k in store.earlier_figures(i)] for i in ids]
        marks = [[r.text for r in m.remarks] for m in store.marks(ids).values()]
        store.close()
        return stored() + json.dumps([kept, marks])

    killed_again_and_again(home, work, state, start=tmp_path / "start", whole=lambda: sound(home))


def test_backup(home: Path, tmp_path: Path) -> None:
    store = open_store()
    recording_id = recording(store)
    for number in range(1, 12):
        add(store, recording_id, shot(number))
    store.close()
    older = CliRunner().invoke(backup_command, [str(home / "b.zip")])
    assert older.exit_code == 0, older.output
    shutil.copytree(home, tmp_path / "start")

    def work() -> None:
        done = CliRunner().invoke(backup_command, [str(home / "b.zip"), "--force"])
        assert done.exit_code == 0, done.output

    def whole() -> None:
        sound(home)
        assert check_backup(home / "b.zip").counts["shots"] == 11  # the one before, or the new one

    def state() -> str:
        return stored() + str(check_backup(home / "b.zip").counts) + str((home / "b.zip.part").exists())

    killed_again_and_again(home, work, state, start=tmp_path / "start", whole=whole)


def test_migration(home: Path, tmp_path: Path) -> None:
    """From the first released schema, with enough shots for it to take a while."""
    file = sqlite3.connect(home / "shots.sqlite3")
    file.executescript((Path(__file__).parents[1] / "host/store/schema_0001.sql").read_text())
    columns = [row[1] for row in file.execute("PRAGMA table_info(shots)") if row[1] not in ("id", "number")]
    names = ", ".join(f'"{name}"' for name in columns)
    numbers = "WITH RECURSIVE n(i) AS (SELECT 100 UNION ALL SELECT i + 1 FROM n WHERE i < 700)"
    file.execute(
        f"INSERT INTO shots (id, number, {names}) {numbers} SELECT i, i, {names} FROM n, shots WHERE shots.id = 1"
    )
    file.commit()
    file.close()
    shutil.copytree(home, tmp_path / "start")

    def state() -> str:
        file = sqlite3.connect(home / "shots.sqlite3")
        schema = sorted(str(row) for row in file.execute("SELECT type, name, sql FROM sqlite_master"))
        rows = file.execute("SELECT * FROM shots ORDER BY id").fetchall()
        file.close()
        return json.dumps([schema, rows])

    def whole() -> None:
        file = sqlite3.connect(home / "shots.sqlite3")
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert file.execute("SELECT count(*) FROM shots").fetchone() == (602,)
        file.close()

    work = lambda: open_store().close()  # noqa: E731
    killed_again_and_again(home, work, state, start=tmp_path / "start", whole=whole)


def test_typing(home: Path) -> None:
    """Whatever the program said that it had kept is there, in the database and in the list beside it."""
    store = open_store()
    shot_id = add(store, recording(store), shot(1))
    assert shot_id is not None
    store.close()
    random = Random(SEED)
    said: list[str] = []
    for number in range(KILLS):
        reader, writer = os.pipe()

        def work(number: int = number, reader: int = reader, writer: int = writer) -> None:
            mine = open_store()
            os.close(reader)
            for i in range(10_000):
                mine.add_remark(shot_id, f"{number}.{i}")
                os.write(writer, f"{number}.{i}\n".encode())

        in_a_child(work, random.uniform(0.05, 0.35))
        os.close(writer)
        with os.fdopen(reader) as words:
            said += words.read().split()
        sound(home)
        store = open_store()
        kept = [remark.text for remark in store.marks([shot_id])[shot_id].remarks]
        store.close()
        assert len(set(kept)) == len(kept)
        assert set(said) <= set(kept)
        listed = [json.loads(line) for line in (home / "shots.typed.jsonl").read_text().splitlines()]
        assert {e["payload"]["text"] for e in listed if e["kind"] == "remark"} == set(kept)
    print(f"{KILLS} kills, seed {SEED}: {len(said)} remarks")
    assert said
