"""`quiethand compare` as a person runs it, on an invented league."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from command_line import refused, run
from invented_league import league
from quiethand.store import ShotFilter, open_store


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("league") / "league.db"
    store = open_store(f"sqlite:///{path}")
    league(store)
    store.close()
    return path


@pytest.fixture
def url(kept: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copy(kept, tmp_path)}"


def test_two_arrows_compared(capsys: pytest.CaptureFixture[str], url: str) -> None:
    a, b = "archer=Lane 4 arrow=Match arrow", "archer=Lane 4 arrow=Heavy practice arrow"
    ran = run(capsys, "compare", "--a", a, "--b", b, "--store", url)
    assert ran.status == 0, ran.err
    assert "8 of 10 such comparisons" in ran.out
    assert ran.out.index("would be found in 8 of 10") < ran.out.index("rotation at departure, yaw")
    asked = ("compare", "--a", a, "--b", b, "--measure", "time_on_string", "--format", "json", "--store", url)
    found = json.loads(run(capsys, *asked).out)["comparisons"][0]
    assert found["shown"]
    assert found["low"] <= 0.0172 - 0.0146 <= found["high"]  # the league's two times on the string
    assert run(capsys, *asked).out == run(capsys, *asked).out


def test_excluded_shots_stay_out_and_are_counted(capsys: pytest.CaptureFixture[str], url: str) -> None:
    a, b = "archer=Lane 4 arrow=Match arrow", "archer=Lane 4 arrow=Heavy practice arrow"
    asked = ("compare", "--a", a, "--b", b, "--measure", "time_on_string", "--format", "json", "--store", url)
    before = json.loads(run(capsys, *asked).out)
    store = open_store(url)
    ids = [row["id"] for row in store.shot_rows(ShotFilter(archer="Lane 4", arrow="Match arrow"), measures=[])]
    store.exclude(ids[:2], "the clicker slipped")
    store.close()
    after = json.loads(run(capsys, *asked).out)
    assert before["excluded"] == {"a": 0, "b": 0}
    assert after["excluded"] == {"a": 2, "b": 0}
    assert after["comparisons"][0]["shots_a"] == before["comparisons"][0]["shots_a"] - 2
    assert after["comparisons"][0]["shots_b"] == before["comparisons"][0]["shots_b"]
    told = run(capsys, *asked[:-4], "--store", url).out
    assert told.startswith("Left out because someone excluded them: 2 shots of the first set, 0 of the second.")


@pytest.mark.parametrize(
    ("a", "words"),
    [
        ("Lane 4", "names no set"), ("lane=4", "chooses nothing"), ("archer=Nobody", "no shot fits"),
        ("archer=Lane 4 day=tomorrow", "is no span of days"), ("archer=", "needs one value"),
    ],
)  # fmt: skip
def test_bad_sets_are_refused_in_a_line(capsys: pytest.CaptureFixture[str], url: str, a: str, words: str) -> None:
    assert words in refused(run(capsys, "compare", "--a", a, "--b", "archer=Lane 4", "--store", url))
