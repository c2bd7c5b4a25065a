"""The notebooks in host/examples run from top to bottom in a fresh process, and are kept without what they printed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

NOTEBOOK = Path(__file__).parents[3] / "host" / "examples" / "first_shots.ipynb"


def test_first_shots_runs_and_measures_two(tmp_path: Path) -> None:
    cells = [c for c in json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"] if c["cell_type"] == "code"]
    assert all(not cell["outputs"] and cell["execution_count"] is None for cell in cells)
    script = "\n".join("".join(cell["source"]) for cell in cells)
    script += "\nprint(len(shots), len(trace) > 100, len(samples) > 10_000)"
    ran = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.split() == ["2", "True", "True"]
