"""The method's number changes when the method does.

To write the figures anew: .venv/bin/python tests/host/store/test_method_version.py
"""

from __future__ import annotations

import hashlib
import json
import math
import tempfile
from pathlib import Path
from typing import Any

from quiethand.analysis import analyse_path
from quiethand.emulator import Scenario, setup_document, write_recording
from quiethand.shots.measure_columns import measures_of
from quiethand.shots.method import METHOD_VERSION

KEPT = Path(__file__).with_name("method_figures.json")
SAME = 1e-6  # relative: far above what another processor's arithmetic does, far below what anybody would call a change


def figures_now(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = {"method": METHOD_VERSION, "recordings": {}, "figures": {}}
    for bow, habit in (("compound", "grip_torque"), ("recurve", "pluck")):
        scenario = Scenario(seed=21, bow=bow, habit=habit, shots=2, every_s=7.0, rate_hz=1000.0)  # type: ignore[arg-type]
        path = folder / f"{bow}.qhr"
        write_recording(path, scenario, unix_s=1_768_000_000.0, session=setup_document(scenario, archer="Lane 6"))
        found["recordings"][bow] = hashlib.sha256(path.read_bytes()).hexdigest()
        for shot in analyse_path(str(path), traces=False).shots:
            found["figures"][f"{bow} {shot.number}"] = measures_of(shot)
    return found


def test_other_figures_are_another_method(tmp_path: Path) -> None:
    kept, now = json.loads(KEPT.read_text()), figures_now(tmp_path)
    assert now["recordings"] == kept["recordings"], "other recordings are emulated: write the figures anew"
    moved = [
        f"{shot}: {name} {before} -> {now['figures'].get(shot, {}).get(name)}"
        for shot, figures in kept["figures"].items()
        for name, before in figures.items()
        if not _same(before, now["figures"].get(shot, {}).get(name))
    ]
    assert moved == [], "figures move: raise METHOD_VERSION by one and write the figures anew"
    assert kept["figures"].keys() == now["figures"].keys()
    assert kept["method"] == METHOD_VERSION


def _same(before: float | None, now: float | None) -> bool:
    if before is None or now is None:
        return before is now
    return math.isclose(before, now, rel_tol=SAME, abs_tol=1e-9)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        KEPT.write_text(json.dumps(figures_now(Path(made)), indent=1) + "\n")
