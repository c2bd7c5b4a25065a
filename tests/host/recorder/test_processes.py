"""Recorder, analysis and page as processes: the demo without a page, and nothing left behind however a parent ends."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil
import pytest
from click.testing import CliRunner
from quiethand.analysis import StreamAnalysis
from quiethand.bow.setup_file import read_setup
from quiethand.commands import demo
from quiethand.commands.children import Child, stop_all
from quiethand.commands.demo import command as demo_command
from quiethand.shots.contract import shot_object
from quiethand.shots.model import Rejected, Shot
from quiethand.store import open_store

QUIETHAND = [sys.executable, "-c", "from quiethand.commands import main; main()"]


def test_a_shot_the_whole_way_is_that_of_its_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Emulator, TCP, recorder, file, analysis, store, table; then the file again, whole and in other pieces."""
    kept = tmp_path / "demo"
    kept.mkdir()
    monkeypatch.setattr(tempfile, "TemporaryDirectory", lambda **_: contextlib.nullcontext(str(kept)))
    archer = demo._archer
    monkeypatch.setattr(demo, "_archer", lambda *given: [*archer(*given), "--speed", "3"])  # three times as quick
    done = CliRunner().invoke(demo_command, ["--headless", "--shots", "1", "--seed", "3"])
    assert done.exit_code == 0, done.output
    rows = [line for line in done.output.splitlines() if re.match(r"1 +\d+\.\d\d ± \d\.\d\d ", line)]
    assert len(rows) == 1
    store = open_store(f"sqlite:///{kept / 'shots.sqlite3'}")
    stored = [shot.contract for shot in reversed(store.latest_shots(10))]
    data = (kept / "demo.qhr").read_bytes()
    for size in (len(data), 4099):
        analysis = StreamAnalysis(read_setup(kept / "lane-4.toml"))
        found = [r for at in range(0, len(data), size) for r in analysis.feed(data[at : at + size])] + analysis.finish()
        assert [shot_object(r) for r in found if isinstance(r, Shot)] == stored
        assert analysis.facts.lost_samples == 0
        assert analysis.facts.whole
    assert [r.reason for r in store.rejected(50)] == [r.reason for r in reversed(found) if isinstance(r, Rejected)]
    store.close()


def _living(pid: int) -> list[psutil.Process]:
    children = psutil.Process(pid).children(recursive=True)
    return [child for child in children if child.status() != psutil.STATUS_ZOMBIE]


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGKILL])
def test_no_process_is_left_behind_and_an_analysis_that_dies_comes_back(tmp_path: Path, end: signal.Signals) -> None:
    emulator = Child("sensor", ["emulate", "--tcp", "0"], output=subprocess.PIPE)
    assert emulator.process.stdout is not None
    url = emulator.process.stdout.readline().strip()
    live = subprocess.Popen(
        [*QUIETHAND, "live", "--port", url, "--page-port", "8931", "--out", str(tmp_path / "one.qhr")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "QUIETHAND_HOME": str(tmp_path)},
    )  # fmt: skip
    until = time.monotonic() + 30
    while not (tmp_path / "one.qhr").exists() or (tmp_path / "one.qhr").stat().st_size < 20_000:
        assert time.monotonic() < until
        assert live.poll() is None
        time.sleep(0.05)
    children = psutil.Process(live.pid).children(recursive=True)
    assert len(children) >= 3
    if end == signal.SIGINT:
        analysis = next(child for child in children if "follow" in child.cmdline())
        analysis.kill()
        while not any("follow" in child.cmdline() for child in _living(live.pid) if child.pid != analysis.pid):
            assert time.monotonic() < until
            time.sleep(0.05)
        assert all(child.is_running() for child in children if child.pid != analysis.pid)
        children = _living(live.pid)
    live.send_signal(end)
    _, told = live.communicate(timeout=20)
    _, left = psutil.wait_procs(children, timeout=12)
    assert left == []
    assert "Traceback" not in told
    assert live.returncode == (-signal.SIGKILL if end == signal.SIGKILL else 0)
    stop_all([emulator])
    assert emulator.ended is not None


def test_a_missing_port_ends_live_with_one_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [*QUIETHAND, "live", "--port", "/dev/no-such-port", "--page-port", "8932"],
        capture_output=True, text=True, timeout=60, check=False, env={**os.environ, "QUIETHAND_HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 2
    assert "no such port" in done.stderr
    assert "Traceback" not in done.stderr
