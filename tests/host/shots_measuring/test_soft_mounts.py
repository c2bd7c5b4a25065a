"""The mount's lowest mode, told beside a riser that rings louder, and the warning where it is too low.

The emulator's seat is a mass on a spring and damper, ratio 0.03; its riser rings from 85 Hz on.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from quiethand.analysis import analyse_path
from quiethand.emulator import Scenario, scene, write_recording
from quiethand.emulator.shooting import draw_shot
from quiethand.shots.model import Shot
from quiethand.shots.mount_mode import MountMode, mode_note


def shots_on(folder: Path, mount_hz: float, patch: pytest.MonkeyPatch, riser: float) -> tuple[Shot, ...]:
    def drawn(*args: Any, **named: Any) -> Any:
        shot = draw_shot(*args, **named)
        knock = shot.brace_knock
        return replace(shot, brace_knock=replace(knock, rate_rad_s=knock.rate_rad_s * riser))

    patch.setattr(scene, "draw_shot", drawn)
    path = folder / "soft.qhr"
    write_recording(path, Scenario(seed=31, shots=2, every_s=7.0, nuisances="none", rate_hz=2000.0, mount_hz=mount_hz))
    return tuple(analyse_path(str(path)).shots)


@pytest.mark.parametrize(
    ("mount_hz", "riser"), [(25.0, 1.0), (40.0, 1.0), (60.0, 1.0), (40.0, 0.0), (90.0, 0.0), (130.0, 0.0), (200.0, 0.0)]
)
def test_the_mode_of_the_mount_is_the_lowest(
    mount_hz: float, riser: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shots = shots_on(tmp_path, mount_hz, monkeypatch, riser)
    assert len(shots) == 2
    for shot in shots:
        follow = shot.follow_through
        assert follow.mount_mode_hz == pytest.approx(mount_hz, rel=0.03)
        assert follow.mount_damping_ratio == pytest.approx(0.03, abs=0.012)
        assert (follow.mount_mode_fit or 0) > 0.9
        assert shot.time_on_string_s is not None
        warned = [note for note in shot.notes if "seat rings" in note]
        assert bool(warned) == (mount_hz <= 60)
        for note in warned:
            assert f"{mount_hz:.0f} Hz" in note


@pytest.mark.parametrize("mount_hz", [90.0, 340.0])
def test_a_riser_that_rings_lower_than_its_mount_is_no_reason_to_warn(
    mount_hz: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for shot in shots_on(tmp_path, mount_hz, monkeypatch, 1.0):
        assert 80 < (shot.follow_through.mount_mode_hz or 0) < 125
        assert not any("seat rings" in note for note in shot.notes)


def test_the_warning_holds_the_bound_of_what_may_not_show() -> None:
    """Of a steady torque's turn, 2 (1 - cos u) / u^2 is missing behind an undamped mount, u = 2 pi f t (computed): at
    15 ms 48.8, 9.01, 4.50 and 0 % at 30, 50, 100 and 200 Hz. The bound 4 / u^2 is never below it."""
    for hz, missing in ((30.0, 48.8), (50.0, 9.01), (100.0, 4.50), (200.0, 0.0)):
        u = 2 * np.pi * hz * 0.015
        assert 200 * (1 - np.cos(u)) / u**2 == pytest.approx(missing, abs=0.05)
        note = mode_note(MountMode(hz, 0.03, 1.0), 0.015)
        if note is None:
            assert 400 / u**2 < 7.0
        else:
            assert float(note.split("up to ")[1].split(" %")[0]) >= min(missing, 100.0) - 0.5
            assert "can be trusted from 80 Hz on" in note
    assert mode_note(None, 0.015) is None
