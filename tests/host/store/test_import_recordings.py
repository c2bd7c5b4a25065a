"""A recording's shots reach the store once, whether it was followed live, imported, moved, or all of these."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from quiethand.analysis import StreamAnalysis
from quiethand.commands.import_ import command as import_command
from quiethand.commands.import_ import import_recording
from quiethand.emulator import Scenario, setup_document, write_recording
from quiethand.link.recording_header import header_frame
from quiethand.shots.contract import shot_object
from quiethand.shots.model import Rejected, Shot
from quiethand.store import Store, open_store

SCENARIO = Scenario(seed=8, habit="grip_torque", shots=2, every_s=7.0, rate_hz=1000.0)
FOLLOW = [sys.executable, "-c", "from quiethand.commands.children import run_child; run_child()", "follow"]
BEGUN_UNIX_S = 1_768_000_000.0


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("made") / "end.qhr"
    write_recording(path, SCENARIO, unix_s=BEGUN_UNIX_S, session=setup_document(SCENARIO, archer="Lane 6"))
    return path


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path / "home"))
    opened = open_store()
    yield opened
    opened.close()


def shots_in(path: Path) -> list[dict[str, Any]]:
    analysis = StreamAnalysis(None)
    found = analysis.feed(path.read_bytes()) + analysis.finish()
    return [shot_object(s) for s in found if isinstance(s, Shot)]


def rejected_in(path: Path) -> list[str]:
    analysis = StreamAnalysis(None)
    found = analysis.feed(path.read_bytes()) + analysis.finish()
    return [r.reason for r in sorted((r for r in found if isinstance(r, Rejected)), key=lambda r: r.time_s)]


def with_our_header(path: Path, out: Path) -> bytes:
    """The same recording as our recorder would have written it: its HEADER with an id."""
    data = path.read_bytes()
    data = header_frame("2026-01-09T23:06:40Z", "quiethand test", "0123456789abcdef") + data[data.index(b"\0") + 1 :]
    out.write_bytes(data)
    return data


def test_import_stores_what_analyse_finds_and_only_once(recording: Path, store: Store) -> None:
    found, line = import_recording(store, recording)
    assert (found, line) == (2, "2 shots")
    stored = list(reversed(store.latest_shots(10)))
    assert [s.contract for s in stored] == shots_in(recording)
    assert {s.archer for s in stored} == {"Lane 6"}
    assert all(s.trace is None for s in stored)
    with_trace = store.shot(stored[0].id)
    assert with_trace is not None
    assert with_trace.trace is not None
    # The recording's own clock says when: release counts from the first sample.
    assert stored[0].unix_s == pytest.approx(BEGUN_UNIX_S + stored[0].contract["release_s"], abs=0.05)
    assert [r.reason for r in reversed(store.rejected(50))] == rejected_in(recording)
    token = store.change_token()
    assert import_recording(store, recording) == (2, "already there, 2 shots")
    assert store.change_token() == token


def test_a_copy_elsewhere_is_the_same_recording(recording: Path, store: Store, tmp_path: Path) -> None:
    import_recording(store, recording)
    shutil.copy(recording, tmp_path / "copy.qhr")
    assert import_recording(store, tmp_path / "copy.qhr")[1] == "already there, 2 shots"
    assert store.shot_count() == 2


def test_followed_while_it_grows_then_imported(recording: Path, store: Store, tmp_path: Path) -> None:
    growing = tmp_path / "growing.qhr"
    data = with_our_header(recording, tmp_path / "whole.qhr")
    with growing.open("wb") as file:
        follower = subprocess.Popen(
            [*FOLLOW, str(growing), "--store"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            env={**os.environ},
        )  # fmt: skip
        for at in range(0, len(data), 20_011):
            file.write(data[at : at + 20_011])
            file.flush()
            time.sleep(0.002)
        assert follower.stdout is not None
        first = next(line for line in follower.stdout if line.startswith("shot"))
        assert follower.stdin is not None
        follower.stdin.close()  # as when a parent ends
        told = follower.stdout.read()
        assert follower.wait(timeout=30) == 0
    shots = [line[:7] for line in (first + told).splitlines() if line.startswith("shot")]
    assert shots == ["shot 1:", "shot 2:"]
    assert [s.contract for s in reversed(store.latest_shots(10))] == shots_in(recording)
    assert import_recording(store, growing)[1] == "already there, 2 shots"


def test_an_analysis_that_was_killed_is_completed_by_import(recording: Path, store: Store, tmp_path: Path) -> None:
    growing = tmp_path / "growing.qhr"
    data = with_our_header(recording, growing)
    first_end = int(len(data) * 0.62)  # between the two shots
    growing.write_bytes(data[:first_end])
    follower = subprocess.Popen(
        [*FOLLOW, str(growing), "--store"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env={**os.environ}
    )
    assert follower.stdout is not None
    while not (line := follower.stdout.readline()).startswith("shot 1:"):
        assert line
    follower.kill()
    follower.communicate()
    growing.write_bytes(data)
    assert import_recording(store, growing) == (2, "2 shots, 1 were there already")
    assert [s.contract for s in reversed(store.latest_shots(10))] == shots_in(recording)


def test_the_verb_and_its_exit_statuses(recording: Path, store: Store, tmp_path: Path) -> None:
    runner = CliRunner()
    done = runner.invoke(import_command, [str(recording)])
    assert done.exit_code == 0
    assert done.output == f"{recording}: 2 shots\n"
    quiet = tmp_path / "quiet.qhr"
    write_recording(quiet, Scenario(seed=8, shots=0, rate_hz=1000.0), duration_s=5.0)
    assert runner.invoke(import_command, [str(quiet)]).exit_code == 1
    missing = runner.invoke(import_command, [str(tmp_path / "none.qhr"), str(recording)])
    assert missing.exit_code == 2
    assert missing.stderr.startswith(f"quiethand: {tmp_path / 'none.qhr'}: can't be read")
    assert missing.stdout == f"{recording}: already there, 2 shots\n"  # the others are not left out
