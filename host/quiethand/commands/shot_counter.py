"""Counts the shots of a growing recording, in a process of its own: no analysis may hold up a recorder."""

from __future__ import annotations

import subprocess
import threading
import time
from pathlib import Path

from quiethand.commands.children import Child

__all__ = ["ShotCounter"]


class ShotCounter:
    """`shots` so far; it stays where it is should the analysis fail, and the recording goes on."""

    def __init__(self, recording: Path, setup_file: Path | None) -> None:
        self.shots = 0
        setup = [] if setup_file is None else ["--setup", str(setup_file)]
        self._child = Child("count", ["follow", str(recording), *setup], output=subprocess.PIPE)
        threading.Thread(target=self._count, daemon=True, name="shots").start()

    def _count(self) -> None:
        output = self._child.process.stdout
        assert output is not None
        for line in output:
            if line.startswith("shot"):
                self.shots += 1

    @property
    def failed(self) -> bool:
        """The analysis has ended by itself."""
        return self._child.ended is not None

    def stop(self) -> None:
        self._child.ask_to_stop()
        self._child.wait(time.monotonic() + 10.0)
