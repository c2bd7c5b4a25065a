"""The demo's earlier weeks: invented evenings, made once, finished if they were interrupted."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

import pytest
from click.testing import CliRunner
from quiethand.commands import demo_history
from quiethand.store import open_store


def test_an_evening_is_shot_measured_and_stored_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path))
    chosen = list(islice(demo_history.evenings(), 1))
    monkeypatch.setattr(demo_history, "evenings", lambda: iter(chosen))
    assert CliRunner().invoke(demo_history.command).exit_code == 0
    store = open_store()
    shots = store.latest_shots(20)
    assert [s.number for s in shots] == [6, 5, 4, 3, 2, 1]
    assert {s.archer for s in shots} == {"Lane 4"}
    token = store.change_token()
    (tmp_path / "recordings" / f"{chosen[0].name}.part").write_bytes(b"what a kill in the middle leaves")
    assert CliRunner().invoke(demo_history.command).exit_code == 0
    assert store.change_token() == token
    store.close()


def test_the_league_has_several_archers_bows_and_arrows() -> None:
    evenings = list(demo_history.evenings())
    assert 60 <= len(evenings) * 6 <= 100
    assert {e.bow for e in evenings} == {"compound", "recurve"}
    assert {e.handedness for e in evenings} == {"right", "left"}
    assert any(e.habit == "slow_arrow" for e in evenings)
    assert len({e.name for e in evenings}) == len(evenings)
    pressing = [e.strength for e in evenings if e.habit == "grip_torque"]  # from the last week back
    assert pressing == sorted(pressing)
