"""A whole random session, and how the finder did on it: counts by name, so that sessions can be added up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from quiethand.motion.block import MotionBlock
from quiethand.shots.candidate import Candidate
from quiethand.shots.finder import ShotFinder
from quiethand.shots.model import Rejected

from .scenes import FINE_HZ, G0, Bow, Director, Scene, Sensor, any_bow, any_sensor, ring

# how far a rejection may lie before and after what it is about, in seconds, and the reasons that fit
KNOCK = {"tap", "no_push"}
FITTING: dict[str, tuple[float, float, set[str]]] = {
    "tap": (0.3, 0.3, KNOCK),
    "bump": (0.3, 0.4, KNOCK | {"set_down"}),
    "nock": (0.3, 0.3, KNOCK | {"nock"}),
    "set_down": (0.3, 0.6, KNOCK | {"set_down"}),
    "drop": (0.6, 0.6, {"drop"}),
    "cable_tug": (0.3, 0.4, {"cable"}),
    "let_down": (1.0, 2.0, {"let_down"}),
    "walk": (0.6, 3.0, {"walk"}),
    "dry_fire": (0.3, 0.3, {"dry_fire"}),
}
KINDS = ("shot",) * 6 + ("pair", "hole", "dry", "tap", "bump", "nock", "set_down", "drop", "walk", "tug", "let_down")


def session(seed: int, bow: Bow | None = None, sensor: Sensor | None = None) -> tuple[Scene, Bow, Sensor]:
    """46 s of shooting and of everything else, with any bow and sensor that are not given."""
    rng = np.random.default_rng(seed)
    drawn_bow, drawn_sensor = any_bow(rng), any_sensor(rng)
    bow, sensor = bow or drawn_bow, sensor or drawn_sensor
    d = Director(seed, 46.0, rng.uniform(0.4, 1.2))
    d.wait(rng.uniform(0.2, 1.5))
    if rng.random() < 0.15:  # a recording that starts at full draw
        d.scene.pitch[:] = 0
        d.at = round(rng.uniform(0.12, 0.6) * FINE_HZ)
        d.release(bow)
        d.lower()
    while d.now < 38:
        _act(d, rng, str(rng.choice(KINDS)), bow)
        d.wait(rng.uniform(0.8, 2.0))
    return d.scene, bow, sensor


def _act(d: Director, rng: np.random.Generator, kind: str, bow: Bow) -> None:
    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    if kind in ("shot", "hole", "pair"):
        d.draw(rng.uniform(0.3, 4), rng.uniform(0.05, 0.3), rng.uniform(-0.25, 0.25))
        if rng.random() < 0.3:  # a clicker or a trigger
            d.add(ring(rng, 800, rng.uniform(0.1, 1.2) * G0, (700.0,), 0.003), -rng.uniform(0.05, 0.4))
        if kind == "hole":
            at = d.now + rng.uniform(-0.01, bow.time_on_string_s)
            d.scene.holes.append((at, at + rng.uniform(0.004, 0.012)))
        d.release(bow)
        if kind == "pair":
            d.wait(1.2)
            d.release(bow)
        d.lower()
    elif kind == "let_down":
        d.draw(rng.uniform(0.8, 4), rng.uniform(0.08, 0.3))
        d.let_down()
    elif kind == "dry":
        d.draw(rng.uniform(0.5, 3))
        d.release(bow, dry=True)
        d.lower()
    elif kind == "tap":
        d.knock("tap", between(1.5, 40) * G0, (between(60, 900),), rng.uniform(0.005, 0.05))
    elif kind == "bump":
        d.knock("bump", between(2, 20) * G0, (rng.uniform(60, 300), rng.uniform(200, 800)), 0.02, rng.uniform(0.1, 0.6))
    elif kind == "nock":
        d.knock(
            "nock", rng.uniform(0.8, 3) * G0, (rng.uniform(50, 150), rng.uniform(300, 800)), rng.uniform(0.004, 0.02)
        )
    elif kind == "set_down":
        d.set_down(between(4, 80) * G0)
    elif kind == "drop":
        d.drop(between(20, 400) * G0)
    elif kind == "walk":
        d.walk(rng.uniform(2.5, 5))
    else:
        d.tug()


def find(blocks: Sequence[MotionBlock], finder: ShotFinder | None = None) -> tuple[list[Candidate], list[Rejected]]:
    """What the finder makes of the blocks, in order of time."""
    finder = finder or ShotFinder()
    out = [item for block in blocks for item in finder.feed(block)] + finder.finish()
    shots = [o for o in out if isinstance(o, Candidate)]
    rejected = [o for o in out if isinstance(o, Rejected)]
    return sorted(shots, key=lambda c: c.departure_s), sorted(rejected, key=lambda r: r.time_s)


def judge(scene: Scene, shots: Sequence[Candidate], rejected: Sequence[Rejected]) -> Counter[str]:
    """shots, found, spoiled, spoiled_found, false, dry_accepted, events, listed and right of a session."""
    count: Counter[str] = Counter()
    left = list(shots)
    for release, departure in scene.shots:
        spoiled = any(a < departure + 0.002 and b > release - 0.002 for a, b in scene.holes)
        near = [c for c in left if abs(c.departure_s - departure) < 0.015]
        left = [c for c in left if not near or c is not near[0]]
        count["spoiled" if spoiled else "shots"] += 1
        count["spoiled_found" if spoiled else "found"] += bool(near)
    for c in left:
        count["dry_accepted" if any(abs(c.departure_s - t) < 0.02 for t in scene.dry) else "false"] += 1
    for time_s, kind in [*scene.acts, *((t, "dry_fire") for t in scene.dry)]:
        before, after, words = FITTING[kind]
        reasons = {r.reason for r in rejected if -before <= r.time_s - time_s <= after}
        count["events"] += 1
        count["listed"] += bool(reasons)
        count["right"] += bool(reasons & words)
        count["dry_fires"] += kind == "dry_fire"
    return count
