"""The finder on random sessions: any bow, sensor, mount and nuisance. Our own shapes, no outside source."""

from __future__ import annotations

from collections import Counter
from typing import Literal

import pytest
from quiethand.bow.model import Bow as StatedBow
from quiethand.bow.model import Setup
from quiethand.shots.finder import ShotFinder

from .judging import find, judge, session
from .scenes import Bow, Director, Sensor, blocks


def total(seeds: range) -> Counter[str]:
    count: Counter[str] = Counter()
    for seed in seeds:
        scene, _, sensor = session(seed)
        count += judge(scene, *find(blocks(scene, sensor, seed)))
    return count


def test_random_sessions_every_shot_and_nothing_else() -> None:
    count = total(range(16))
    assert count["shots"] > 40
    assert count["found"] == count["shots"]
    assert count["spoiled_found"] == count["spoiled"]
    assert count["false"] == 0
    assert count["right"] >= 0.95 * count["events"]


@pytest.mark.parametrize(("kind", "dry_s"), [("compound", 0.0080), ("recurve", 0.0055)])
def test_the_bow_kind_stated_keeps_dry_fires_out(kind: Literal["compound", "recurve"], dry_s: float) -> None:
    """Where the set-up says what bow it is, an empty one does not pass for a shot; a quick arrow does."""
    setup = Setup(bow=StatedBow(kind=kind))
    for seed in range(4):
        d = Director(seed, 16.0)
        bow = Bow(recurve=kind == "recurve", time_on_string_s=0.0130)
        d.draw(1.5)
        d.release(bow, dry=True, dry_s=dry_s)
        d.lower()
        d.draw(1.5)
        d.release(bow)
        shots, rejected = find(blocks(d.scene, Sensor(), seed), ShotFinder(setup))
        assert len(shots) == 1
        dry = [r for r in rejected if r.reason == "dry_fire"]
        assert [abs(r.time_s - d.scene.dry[0]) < 0.01 for r in dry] == [True]
        assert "inspected" in dry[0].text
