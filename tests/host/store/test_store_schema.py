"""The schema: made, migrated and refused; the settings of the file; several writers and readers at once."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from alembic import command as alembic_command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from host.store.store_shots import add, recording, shot
from postgres_server import Databases
from quiethand.errors import InputError
from quiethand.store import open_store, schema
from quiethand.store.engine import make_engine
from quiethand.store.schema import HEAD
from quiethand.store.tables import Base
from sqlalchemy import Connection, text


def url(path: Path) -> str:
    return f"sqlite:///{path}"


def test_the_migrations_make_what_the_models_say(tmp_path: Path) -> None:
    with open_store(url(tmp_path / "s.sqlite3")).engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_the_head_is_the_newest_migration() -> None:
    config = Config()
    config.set_main_option("script_location", "quiethand.store:migrations")
    assert ScriptDirectory.from_config(config).get_current_head() == HEAD


def test_a_store_that_is_up_to_date_opens_without_alembic(tmp_path: Path) -> None:
    open_store(url(tmp_path / "s.sqlite3")).close()
    code = (
        "import sys; from quiethand.store import open_store;"
        f"open_store({url(tmp_path / 's.sqlite3')!r}); print('alembic' in sys.modules)"
    )
    printed = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert printed.stdout.strip() == "False"


def test_settings_of_the_file(tmp_path: Path) -> None:
    with open_store(url(tmp_path / "s.sqlite3")).engine.connect() as connection:
        ask = lambda name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()  # noqa: E731
        assert (ask("journal_mode"), ask("synchronous"), ask("foreign_keys")) == ("wal", 1, 1)
        assert ask("busy_timeout") >= 5000


def test_a_store_from_the_first_schema_opens_with_its_shots(tmp_path: Path) -> None:
    """The first schema's own statements, run without our models, then opened by the program as it is."""
    path = tmp_path / "old.sqlite3"
    file = sqlite3.connect(path)
    file.executescript((Path(__file__).parent / "schema_0001.sql").read_text())
    file.close()
    store = open_store(url(path))
    assert [row["archer"] for row in store.shot_rows()] == ["Lane 2"]
    old = store.latest_shots(1)[0]
    assert (old.method, old.stale, old.flagged, old.excluded) == (0, True, True, False)
    assert store.stale_count() == 1
    store.add_tag([old.id], "from before")
    assert store.marks([old.id])[old.id].tags == ("from before",)
    assert add(store, recording(store), shot(2)) is not None


def test_a_later_schema_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite3"
    open_store(url(path)).close()
    file = sqlite3.connect(path)
    file.execute("UPDATE alembic_version SET version_num = '9999'")
    file.commit()
    before = file.execute("SELECT sql FROM sqlite_master").fetchall()
    with pytest.raises(InputError, match=r"9999.*never downgraded"):
        open_store(url(path))
    assert file.execute("SELECT sql FROM sqlite_master").fetchall() == before


def test_what_is_no_store_is_refused(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "other.sqlite3")
    other.execute("CREATE TABLE cakes (name)")
    other.commit()
    with pytest.raises(InputError, match="not ours"):
        open_store(url(tmp_path / "other.sqlite3"))
    (tmp_path / "text.sqlite3").write_text("not a database at all, but a text of some length\n" * 50)
    with pytest.raises(InputError, match="not a database"):
        open_store(url(tmp_path / "text.sqlite3"))
    with pytest.raises(InputError, match="no store can be opened"):
        open_store("nonsense")
    with pytest.raises(InputError, match="can't be used"):
        open_store(url(tmp_path / "no such folder" / "s.sqlite3"))


def test_a_migration_that_dies_half_way_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    migrate = schema._migrate

    def dies(connection: Connection) -> None:
        migrate(connection)
        raise KeyboardInterrupt

    monkeypatch.setattr(schema, "_migrate", dies)
    with pytest.raises(KeyboardInterrupt):
        open_store(url(tmp_path / "s.sqlite3"))
    monkeypatch.undo()
    tables = sqlite3.connect(tmp_path / "s.sqlite3").execute("SELECT name FROM sqlite_master").fetchall()
    assert tables == []
    assert open_store(url(tmp_path / "s.sqlite3")).change_token() == 0


def test_two_processes_may_make_the_same_store(tmp_path: Path) -> None:
    code = f"from quiethand.store import open_store; print(open_store({url(tmp_path / 's.sqlite3')!r}).change_token())"
    both = [subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) for _ in range(2)]
    assert [(p.communicate()[0].strip(), p.returncode) for p in both] == [("0", 0), ("0", 0)]


def test_writers_and_readers_at_once_lose_and_double_nothing(tmp_path: Path) -> None:
    store = open_store(url(tmp_path / "s.sqlite3"))
    recording_id = recording(store)
    wrong: list[BaseException] = []
    done = threading.Event()

    def write(first: int) -> None:
        try:
            mine = open_store(url(tmp_path / "s.sqlite3"))  # an engine of its own, as another process has
            for number in range(first, first + 30):  # the two ranges overlap by ten
                add(mine, recording_id, shot(number))
        except BaseException as error:
            wrong.append(error)

    def read() -> None:
        try:
            seen = 0
            while not done.is_set():
                shots = store.latest_shots(200)
                assert len(shots) >= seen
                seen = len(shots)
                assert all(store.traces([s.id]) for s in shots[:2])  # a shot is never seen without its trace
        except BaseException as error:
            wrong.append(error)

    writers = [threading.Thread(target=write, args=(first,)) for first in (1, 21)]
    reader = threading.Thread(target=read)
    for thread in (*writers, reader):
        thread.start()
    for thread in writers:
        thread.join()
    done.set()
    reader.join()
    assert wrong == []
    assert sorted(s.number for s in store.latest_shots(200)) == list(range(1, 51))


def test_a_server_from_the_first_schema_migrates_and_a_later_one_is_refused(postgres: Databases) -> None:
    where = postgres.empty()
    engine = make_engine(where)
    config = Config()
    config.set_main_option("script_location", "quiethand.store:migrations")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        alembic_command.upgrade(config, "0001")
        connection.execute(text("INSERT INTO archers (name) VALUES ('Lane 2')"))
    store = open_store(where)
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
        assert connection.execute(text("SELECT name FROM archers")).scalars().all() == ["Lane 2"]
    assert add(store, recording(store), shot(1)) is not None
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(InputError, match=r"9999.*never downgraded") as refused:
        open_store(where)
    assert "\n" not in str(refused.value)
    store.close()
    engine.dispose()
