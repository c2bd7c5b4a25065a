"""`quiethand record --until-shots` on a terminal, where a live line tells how it goes."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from quiethand.analysis import StreamAnalysis
from quiethand.bow.setup_file import read_setup
from quiethand.commands.children import Child, stop_all
from quiethand.shots.model import Shot

RECORD = [sys.executable, "-c", "from quiethand.commands import main; main()", "record"]


@pytest.mark.skipif(sys.platform == "win32", reason="ptys are POSIX's")
def test_it_stops_after_so_many_shots_and_says_how_it_goes(tmp_path: Path) -> None:
    setup, out = tmp_path / "bow.toml", tmp_path / "end.qhr"
    # five times as quick as an archer
    options = ["--tcp", "0", "--rate", "1000", "--speed", "5", "--every", "6.5", "--setup-out", str(setup)]
    sensor = Child("sensor", ["emulate", *options], output=subprocess.PIPE)
    assert sensor.process.stdout is not None
    url = sensor.process.stdout.readline().strip()
    master, slave = os.openpty()
    shown = bytearray()

    def watch() -> None:
        while True:
            try:
                shown.extend(os.read(master, 4096))
            except OSError:  # nobody writes any more
                return

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        args = ["--port", url, "--out", str(out), "--setup", str(setup), "--until-shots", "2"]
        done = subprocess.run([*RECORD, *args], stderr=slave, timeout=60, check=False)
    finally:
        os.close(slave)
        watcher.join()
        os.close(master)
        stop_all([sensor])
    assert done.returncode == 0
    analysis = StreamAnalysis(read_setup(setup))
    found = analysis.feed(out.read_bytes()) + analysis.finish()
    assert 2 <= sum(isinstance(result, Shot) for result in found) <= 3  # one may come while it says farewell
    told = shown.decode()
    for word in ("1 shot", "Hz", "none lost"):
        assert word in told, told
