"""`quiethand group` as a person runs it: impacts that its shots' pointing shift moves, on an invented league."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from invented_league import league
from quiethand.judge.group import group
from quiethand.store import NewImpact, ShotFilter, open_store


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("league") / "league.db"
    store = open_store(f"sqlite:///{path}")
    league(store)
    rng = np.random.default_rng(5)
    rows = store.shot_rows(ShotFilter(archer="Lane 4"), measures=["pointing_right_mm", "pointing_up_mm"])
    store.add_impacts(
        [
            NewImpact(
                row["pointing_right_mm"] + float(rng.normal(6, 2)),
                row["pointing_up_mm"] + float(rng.normal(0, 2)),
                shot_id=row["id"],
                face="40 cm",
            )
            for row in rows
        ]
    )
    store.close()
    return path


@pytest.fixture
def url(kept: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copy(kept, tmp_path)}"


def test_a_group_of_the_store_without_what_was_excluded(capsys: pytest.CaptureFixture[str], url: str) -> None:
    asked = ("group", "archer=Lane 4", "--store", url)
    whole = json.loads(run(capsys, *asked, "--format", "json").out)
    store = open_store(url)
    impacts = store.impacts(ShotFilter(archer="Lane 4"))
    by_hand = group([i.right_mm for i in impacts][::-1], [i.up_mm for i in impacts][::-1])
    assert whole["group"]["impacts"] == len(impacts) == 54
    assert whole["group"]["cep_mm"]["value"] == pytest.approx(by_hand.cep_mm.value)
    assert whole["scores"]["face"] == "40 cm"
    assert whole["explained"]["shown"]
    assert whole["explained"]["cross_validated"] > 0.5
    ids = [i.shot_id for i in impacts if i.shot_id is not None]
    store.exclude(ids[:3], "the clicker slipped")
    store.add_impact(NewImpact(1.0, 2.0, archer="Lane 4", unix_s=impacts[0].unix_s, face="40 cm"))
    store.close()
    ran = run(capsys, *asked)
    assert ran.status == 0, ran.err
    assert "The centre of 52 impacts" in ran.out  # 3 excluded, 1 free
    assert "1 of the impacts belong to no shot" in ran.out
    assert "excluded them: 3 shots" in ran.out
    assert "What remains is unexplained" in ran.out
    one_arrow = json.loads(run(capsys, "group", "archer=Lane 4 arrow=Match arrow", *asked[2:], "--format", "json").out)
    assert one_arrow["without_shot"] == 0  # only a shot knows its arrow


@pytest.mark.parametrize(
    ("shots", "words"),
    [
        ("arrow=Match arrow", "one archer's"),
        ("archer=Lane 7", "no impact fits"),
        ("Lane 4", "names no set"),
    ],
)
def test_no_group_is_refused_in_a_line(capsys: pytest.CaptureFixture[str], url: str, shots: str, words: str) -> None:
    assert words in refused(run(capsys, "group", shots, "--store", url))
