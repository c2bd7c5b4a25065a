"""Measured again: what moves is told before it is written, old figures are kept, and the store can be built anew."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from quiethand.commands.import_ import command as import_command
from quiethand.commands.many import Job, measure_many
from quiethand.commands.reanalyse import command as reanalyse_command
from quiethand.emulator import Scenario, setup_document, write_recording
from quiethand.errors import InputError
from quiethand.shots.method import METHOD_VERSION
from quiethand.store import ShotFilter, Store, open_store
from sqlalchemy import text

BEGUN_UNIX_S = 1_768_000_000.0


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two short recordings of two evenings, two shots each."""
    folder = tmp_path_factory.mktemp("made")
    paths = [folder / f"evening-{i}.qhr" for i in (0, 1)]
    for i, path in enumerate(paths):
        scenario = Scenario(seed=8 + i, habit="grip_torque", shots=2, every_s=7.0, rate_hz=1000.0)
        session = setup_document(scenario, archer="Lane 6")
        write_recording(path, scenario, unix_s=BEGUN_UNIX_S + i * 86400, session=session)
    return paths


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, made: list[Path], sqlite_url: str) -> Path:
    """A home with both recordings in it and an empty store."""
    folder = tmp_path / "home"
    (folder / "recordings").mkdir(parents=True)
    for path in made:
        shutil.copy(path, folder / "recordings")
    shutil.move(sqlite_url.removeprefix("sqlite:///"), folder / "shots.sqlite3")
    monkeypatch.setenv("QUIETHAND_HOME", str(folder))
    monkeypatch.delenv("QUIETHAND_STORE", raising=False)
    return folder


@pytest.fixture
def filled(home: Path) -> Iterator[Store]:
    assert run(import_command, *map(str, sorted((home / "recordings").iterdir())), "--jobs", "1").exit_code == 0
    opened = open_store()
    yield opened
    opened.close()


def run(command: Any, *args: str) -> Result:
    done = CliRunner().invoke(command, args)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def figures(store: Store) -> str:
    """All that was measured, without the ids of rows."""
    shots = [
        {
            "shot": [shot.recording, shot.number, shot.unix_s, shot.day, shot.archer, shot.flagged, shot.face],
            "measures": shot.measures, "contract": shot.contract, "notes": shot.notes,
            "setup": store.setup_document(shot.setup_id),
        }
        for shot in store.latest_shots(200)
    ]  # fmt: skip
    rejected = [(r.recording, r.time_s, r.unix_s, r.reason, r.text) for r in store.rejected(200)]
    return json.dumps([shots, rejected], indent=1, sort_keys=True, default=dict)


def make_old(store: Store) -> None:
    """As if another method had measured: yaw half a hundredth of a degree off, one shot not seen, one too many."""
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE shots SET method = 0, rotation_yaw_deg = rotation_yaw_deg + 0.005"))
        connection.execute(text("DELETE FROM shots WHERE id = (SELECT max(id) FROM shots)"))
        connection.execute(
            text("UPDATE shots SET number = 7, departure_s = 1.5 WHERE id = (SELECT min(id) FROM shots)")
        )


def test_nothing_moves_where_the_method_is_the_same(filled: Store) -> None:
    token = filled.change_token()
    done = run(reanalyse_command, "--jobs", "1")
    assert done.exit_code == 0
    assert "no figure moves" in done.output
    assert filled.change_token() == token
    assert run(reanalyse_command, "--stale").output == "no recording to measure\n"


def test_what_moves_is_told_by_how_many_sigma_and_kept(filled: Store) -> None:
    before = figures(filled)
    make_old(filled)
    assert filled.stale_count() == 3
    old = {shot.number: shot for shot in filled.latest_shots(10, day=filled.days()[0])}
    token = filled.change_token()
    told = run(reanalyse_command, "--stale", "--details", "--jobs", "1")
    one = old[1]
    sigma = one.measures["rotation_sigma_yaw_deg"]
    assert sigma is not None
    assert f"shot 1: rotation_yaw_deg {one.measures['rotation_yaw_deg']:.6g} -> " in told.output
    assert f"({0.005 / sigma:.2g} sigma)" in told.output
    assert "rotation_yaw_deg: moves in 2 shots by up to 0.005" in told.output
    assert "2 shots found now that were not before" in told.output
    assert "1 shots no longer found: recordings/evening-0.qhr shot 7" in told.output
    assert "nothing is written" in told.output
    assert filled.change_token() == token
    assert all(shot.stale for shot in filled.latest_shots(10))

    filled.add_remark(one.id, "stays with its shot")
    assert "written: 2 recordings" in run(reanalyse_command, "--yes", "--jobs", "1").output
    assert figures(filled) == before
    assert filled.stale_count() == 0
    kept = filled.earlier_figures(one.id)
    assert [(k.method, k.number, k.measures["rotation_yaw_deg"]) for k in kept] == [
        (0, 1, one.measures["rotation_yaw_deg"])
    ]
    assert [r.text for r in filled.marks([one.id])[one.id].remarks] == ["stays with its shot"]
    assert run(reanalyse_command, "--stale", "--yes").output == "no recording to measure\n"


def test_the_store_deleted_and_built_again_is_the_same(filled: Store, home: Path, tmp_path: Path) -> None:
    """From the recordings and what was typed, a set-up mended afterwards among it."""
    mended = tmp_path / "mended.toml"
    mended.write_text(
        '[archer]\nname = "Lane 6"\n[bow]\nname = "Mended"\n[target]\nface = "40 cm"\ndistance = "18 m"\n'
    )
    first = str(home / "recordings" / "evening-0.qhr")
    assert run(reanalyse_command, first, "--setup", str(mended), "--yes", "--jobs", "1").exit_code == 0
    ids = [shot.id for shot in filled.latest_shots(10)]
    filled.add_tag(ids[1:3], "wind")
    before = figures(filled)
    assert '"Mended"' in before
    filled.close()
    for file in home.glob("shots.sqlite3*"):
        file.unlink()
    assert run(import_command, "--known", "--jobs", "1").exit_code == 0
    again = open_store()
    assert figures(again) == before
    assert [s.recording for s in again.latest_shots(10)][1:3] == [
        row["recording"] for row in again.shot_rows(ShotFilter(tag="wind"))
    ]
    again.close()


def test_a_set_up_version_of_the_day_is_used_where_asked_for(filled: Store, home: Path) -> None:
    """Old shots keep theirs: only recordings from that day on are measured with it."""
    days = sorted(filled.days())
    document = dict(filled.setup_document(filled.latest_shots(1)[0].setup_id) or {})
    document["target"] = {"face": "60 cm", "distance": "25 m"}
    bow = filled.bows()[0]
    filled.add_setup_version("Lane 6", bow, document, from_day=days[1])
    run(reanalyse_command, "--from-versions", "--yes", "--jobs", "1")
    assert {shot.day: shot.face for shot in filled.latest_shots(10)} == {days[0]: "40 cm", days[1]: "60 cm"}
    assert {shot.day: shot.distance_m for shot in filled.latest_shots(10)} == {days[0]: 18.0, days[1]: 25.0}


def test_a_recording_that_is_gone_keeps_its_stale_figures(filled: Store, home: Path) -> None:
    make_old(filled)
    (home / "recordings" / "evening-0.qhr").unlink()
    done = run(reanalyse_command, "--yes", "--jobs", "1")
    assert done.exit_code == 2
    assert "evening-0.qhr: can't be read" in done.stderr
    assert {(s.recording, s.stale) for s in filled.latest_shots(10)} == {
        ("recordings/evening-0.qhr", True), ("recordings/evening-1.qhr", False),
    }  # fmt: skip
    with pytest.raises(InputError, match="no such recording in the store"):
        CliRunner().invoke(reanalyse_command, ["nowhere.qhr"], catch_exceptions=False)


def told(made: list[Path], **how: Any) -> dict[str, str]:
    return {one.path: one.text for one in measure_many(iter([Job(str(path)) for path in made]), **how)}


@pytest.fixture(scope="module")
def alone(made: list[Path]) -> dict[str, str]:
    one_process = told(made, workers=1)
    assert len(one_process) == 2
    assert all(one_process.values())
    return one_process


def test_all_cores_give_what_one_process_gives(made: list[Path], alone: dict[str, str]) -> None:
    assert told(made, workers=2) == alone


def test_a_scheduler_gives_what_one_process_gives(made: list[Path], alone: dict[str, str]) -> None:
    """A real one, and two workers, each a process of its own."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster:
        assert told(made, workers=1, cluster=cluster.scheduler_address) == alone


def test_a_scheduler_that_is_not_there_is_told_in_one_line(made: list[Path]) -> None:
    with pytest.raises(InputError, match="no scheduler answers") as refused:
        told(made, workers=1, cluster="tcp://127.0.0.1:9")
    assert "\n" not in str(refused.value)


def test_new_shots_know_their_method(filled: Store) -> None:
    assert {(shot.method, shot.stale) for shot in filled.latest_shots(10)} == {(METHOD_VERSION, False)}
    assert {row["method"] for row in filled.shot_rows()} == {METHOD_VERSION}
