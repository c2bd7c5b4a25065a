"""`quiethand import impacts.csv`: every impact to its shot, all of a file or nothing, never a guess."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from command_line import Ran, refused, run
from invented_league import add, document, recording, shot
from numpy.random import default_rng
from quiethand.commands.impact_file import looks_like_impacts
from quiethand.store import ShotFilter, Store, open_store

START = 1_796_148_000.0  # an evening of the league, 18:00 UTC
Import = Callable[[str], Ran]


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lane 4 shot twice three times, with two arrows; Lane 7 three times."""
    path = tmp_path_factory.mktemp("club") / "club.sqlite3"
    opened = open_store(f"sqlite:///{path}")
    rng = default_rng(3)
    for lane, arrow, begin in ((4, "Match arrow", 0.0), (4, "Heavy practice arrow", 1200.0), (7, "Match arrow", 0.0)):
        doc = document(lane, arrow)
        to = recording(opened, lane, arrow, START + begin, doc)
        for number in (1, 2, 3):
            add(opened, to, shot(number, arrow, rng), START + begin, doc)
    opened.close()
    return path


@pytest.fixture
def store(club: Path, tmp_path: Path) -> Iterator[Store]:
    """A copy of the club's, to be changed."""
    copy = tmp_path / "club.sqlite3"
    shutil.copyfile(club, copy)
    opened = open_store(f"sqlite:///{copy}")
    yield opened
    opened.close()


@pytest.fixture
def bring(store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Import:
    def bring(text: str) -> Ran:
        path = tmp_path / "impacts.csv"
        path.write_text(text, encoding="utf-8")
        return run(capsys, "import", path, "--store", f"sqlite:///{tmp_path / 'club.sqlite3'}")

    return bring


def placed(store: Store) -> dict[tuple[str, str, int], tuple[float, float]]:
    """Where each shot hit, by who, with what, which."""
    rows = store.shot_rows()
    marks = store.marks([row["id"] for row in rows])
    return {
        (row["archer"], row["arrow"], row["number"]): (impact.right_mm, impact.up_mm)
        for row in rows
        if (impact := marks[row["id"]].impact) is not None
    }


def day(store: Store) -> str:
    return str(store.shot_rows(limit=1)[0]["day"])


def test_by_the_order_of_time(store: Store, bring: Import) -> None:
    on = day(store)
    text = "archer,day,right_mm,up_mm\n" + "".join(f"Lane 4,{on},{i},{-i}\n" for i in range(1, 7))
    ran = bring(text)
    assert (ran.status, ran.err) == (0, "")
    assert "6 impacts added, each joined to its shot" in ran.out
    first, second = "Match arrow", "Heavy practice arrow"
    assert placed(store) == {
        ("Lane 4", arrow, n): (n + off, -n - off) for arrow, off in ((first, 0), (second, 3)) for n in (1, 2, 3)
    }
    assert "already there" in bring(text).out  # twice is once
    assert len(placed(store)) == 6
    said = refused(bring(text.replace(f"{on},2,-2", f"{on},9,-2")))
    assert "line 3: shot 2 of lane-4" in said
    assert "has another impact already (2 mm right, -2 mm up)" in said


def test_by_number_in_inches_with_a_shot_that_was_not_recorded(store: Store, bring: Import) -> None:
    """1 in is 25.4 mm (the yard and pound agreement of 1959)."""
    on = day(store)
    ran = bring(
        "Archer;Day;Arrow;Number;Right in;Up cm;Face;Distance;Diameter mm;Remark;Wind\n"
        f"Lane 4;{on};Match arrow;3;1,5;-2;40cm;18 m;9,3;on the line;none\n"
        f"Lane 4;{on};Match arrow;;-1;0;;;;;\n"
    )
    assert ran.status == 0, ran
    assert "1 of 2 joined to their shots; columns passed over: wind" in ran.out
    assert placed(store) == {("Lane 4", "Match arrow", 3): pytest.approx((38.1, -20.0))}
    held = store.impacts(ShotFilter(archer="Lane 4"))
    assert {impact.shot_id is None for impact in held} == {True, False}
    joined = next(impact for impact in held if impact.shot_id is not None)
    assert (joined.face, joined.distance_m, joined.diameter_mm, joined.remark) == ("40 cm", 18.0, 9.3, "on the line")
    assert joined.source == "imported"
    assert next(impact for impact in held if impact.shot_id is None).day == on


def test_by_time_of_a_clock_that_is_seconds_off(store: Store, bring: Import) -> None:
    rows = [row for row in store.shot_rows() if row["archer"] == "Lane 7"]
    lines = [f"Lane 7,{datetime.fromtimestamp(row['unix_s'] + 2.5, UTC).isoformat()},{row['number']},0" for row in rows]
    ran = bring("archer,time_utc,right_mm,up_mm\n" + "\n".join(lines) + "\n")
    assert ran.status == 0, ran
    assert placed(store) == {("Lane 7", "Match arrow", n): (n, 0) for n in (1, 2, 3)}


def test_by_the_ids_of_an_export(store: Store, bring: Import) -> None:
    ids = [row["id"] for row in store.shot_rows()]
    assert bring("shot_id,right_mm,up_mm\n" + "".join(f"{i},{i},0\n" for i in ids)).status == 0
    assert {place[0] for place in placed(store).values()} == set(ids)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("archer,day,right_mm,up_mm\nLane 4,DAY,1,2\n", "line 2: 1 impacts of Lane 4 on DAY, and 6 shots; say which"),
        ("archer,day,number,right_mm,up_mm\nLane 4,DAY,2,1,2\n", "line 2, number: 2 shots of Lane 4 are number 2"),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,8,1,2\n", "no shot 8 on DAY; there are: 1, 2, 3"),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,1,1,2\nLane 7,DAY,1,3,4\n", "line 3: shot 1 of lane-7"),
        (
            "archer,day,number,right_mm,up_mm\nLane 7,DAY,1,1,2\nLane 7,DAY,2,left,4\n",
            'line 3, right_mm: "left" is not',
        ),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,1,,2\n", "line 2, right: is empty"),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,1.5,0,2\n", 'line 2, number: "1.5" is not a whole number'),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,1,nan,2\n", 'right_mm: "nan" is not a number'),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,1,2,1e9\n", "no place on a target"),
        ("archer,day,number,right_mm,up_mm\nLane 7,DAY,1,2\n", "line 2: 4 fields, and the header names 5"),
        ("archer,day,number,right_mm,up_mm\nLane 7,soon,1,2,3\n", 'line 2, day: "soon" is not a day'),
        ("day,right_mm,up_mm\nDAY,1,2\n", "line 2: no archer is stated"),
        ("archer,right_mm,up_mm\nLane 7,1,2\n", "line 2: no day is stated"),
        ("archer,time,right_mm,up_mm\nLane 7,noon,1,2\n", 'line 2, time: "noon" is not a time'),
        ("archer,time,right_mm,up_mm\nLane 7,DAYT03:00:00,1,2\n", "line 2, time: no shot of Lane 7 lies within 10 s"),
        ("archer,day,nummber,right_mm,up_mm\nLane 7,DAY,1,2,3\n", 'unknown; did you mean "number"?'),
        ("right_mm,right_in,up_mm\n1,2,3\n", "right_mm and right_in say the same"),
        ("right_mm,up\n1,2\n", "no column says how far up an arrow hit"),
        ("right_mm,up_mm,up_mm\n1,2,3\n", "is there twice"),
        ("shot_id,right_mm,up_mm\n987,1,2\n", "line 2, shot_id: the store holds no shot 987"),
        ("shot_id,right_mm,up_mm\n,1,2\n", "line 2: without a shot_id it needs an archer and a day"),
        ("shot_id,right_mm,up_mm,face\n1,1,2,dartboard\n", 'line 2, face: "dartboard" is no face'),
        ("shot_id,right_mm,up_mm,distance\n1,1,2,18\n", 'line 2, distance: "18" '),
        ("archer,day,right_mm,up_mm\n\n", "holds no impact"),
    ],
)
def test_what_is_unclear_is_refused_and_nothing_of_the_file_is_kept(
    store: Store, bring: Import, text: str, said: str
) -> None:
    on = day(store)
    assert said.replace("DAY", on) in refused(bring(text.replace("DAY", on)))
    assert placed(store) == {}
    assert store.impacts() == []


def test_two_shots_as_near_to_a_time_are_not_guessed_between(store: Store, bring: Import) -> None:
    doc = document(7, "Match arrow")
    to = recording(store, 7, "Match arrow", START + 12.0, doc)
    add(store, to, shot(1, "Match arrow", default_rng(1)), START + 12.0, doc)
    first = min(row["unix_s"] for row in store.shot_rows() if row["archer"] == "Lane 7")
    between = datetime.fromtimestamp(first + 6.0, UTC).isoformat()
    said = refused(bring(f"archer,time_utc,right_mm,up_mm\nLane 7,{between},1,2\n"))
    assert "lie 6.0 and 6.0 s from it; use a column shot_id" in said


def test_a_shot_keeps_the_impact_that_it_has(store: Store, bring: Import) -> None:
    ids = [row["id"] for row in store.shot_rows()]
    assert bring(f"shot_id,right_mm,up_mm\n{ids[0]},1,2\n").status == 0
    said = refused(bring(f"shot_id,right_mm,up_mm\n{ids[1]},5,5\n{ids[0]},7,7\n"))
    assert "line 3: shot 3 of" in said
    assert "has another impact already (1 mm right, 2 mm up)" in said
    assert len(placed(store)) == 1


def test_recordings_are_not_taken_for_impacts(tmp_path: Path) -> None:
    for name, content in (
        ("motion.csv", b"t_s,ax_g,ay_g,az_g,gx_deg_s,gy_deg_s,gz_deg_s\n0,0,0,1,0,0,0\n"),
        ("raw.qhr", bytes(range(256)) * 20),
        ("empty.csv", b""),
    ):
        path: Any = tmp_path / name
        path.write_bytes(content)
        assert not looks_like_impacts(path)
    assert not looks_like_impacts(tmp_path / "nowhere.csv")
    assert not looks_like_impacts(tmp_path)
