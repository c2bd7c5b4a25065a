"""Two coaches work on one PostgreSQL store at the same time: nothing is lost, nothing doubled.

The long run, from the top of the project (about half a minute):

    QUIETHAND_OPERATIONS=1000 python -m pytest tests/faults/test_store_two_coaches.py -s
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path
from random import Random
from typing import Any

import pytest
from host.store.store_shots import DAY_0_UNIX_S, add, recording, shot
from postgres_server import Databases, server
from quiethand.errors import InputError
from quiethand.store import NewImpact, Store, open_store

OPERATIONS = int(os.environ.get("QUIETHAND_OPERATIONS", "200"))  # of both together; 1000 in the long run
SHOTS = 12


def coach(url: str, name: str, operations: int) -> dict[str, Any]:
    """Do mixed things, and give what was done as the coach believes it was."""
    store, random = open_store(url), Random(name)
    ids = [row["id"] for row in reversed(store.shot_rows())]
    lists = dict.fromkeys(("remarks", "impacts", "joined", "shots"))
    counts = dict.fromkeys(("tags", "untags", "corrections", "excluded", "included", "limits", "setups"), 0)
    done: dict[str, Any] = {**{key: [] for key in lists}, **counts}
    for i in range(operations):
        one = random.choice(ids)
        word = f"{name} {i}"
        match random.randrange(10):
            case 0:
                store.add_remark(one, word)
                done["remarks"].append(word)
            case 1:
                place = float(f"{len(name)}.{i:04d}")
                done["impacts"].append(place)
                store.add_impact(NewImpact(place, 0.0, archer=name, unix_s=DAY_0_UNIX_S + i))
            case 2:
                free = store.impacts(free=True, limit=3)
                try:
                    if free:
                        store.join_impact(free[-1].id, one)
                        done["joined"].append(one)
                except InputError:
                    pass  # the shot has one already, or the other coach was quicker
            case 3:
                done["tags"] += store.add_tag([one], "wind")  # the same word by both
            case 4:
                done["untags"] += store.remove_tag([one], "wind")
            case 5:
                number = 100 + i  # both followed the same recording: each shot of it once
                if add(store, recording(store), shot(number, with_trace=False)) is not None:
                    done["shots"].append(number)
            case 6:
                store.correct(one, "release_s", 30.0 + i / 1000)
                done["corrections"] += 1
            case 7:
                done["excluded"] += store.exclude([one], word)
            case 8:
                done["included"] += store.include_again([one])
            case _:
                store.set_limit("pointing_shift", 10.0 + i)
                store.add_setup_version(name, "Compound", {"bow": {"name": f"version {i}"}})
                done["limits"] += 1
                done["setups"] += 1
    store.close()
    return done


def check(store: Store, ids: list[int], done: list[dict[str, Any]]) -> None:
    marks, total = store.marks(ids), Counter[str]()
    for one in done:
        total.update({key: value for key, value in one.items() if isinstance(value, int)})
    remarks = [r.text for m in marks.values() for r in m.remarks]
    assert sorted(remarks) == sorted(word for one in done for word in one["remarks"])
    impacts = store.impacts(limit=5000)
    assert sorted(i.right_mm for i in impacts) == sorted(place for one in done for place in one["impacts"])
    joined = Counter(i.shot_id for i in impacts if i.shot_id is not None)
    assert set(joined.values()) <= {1}
    assert set(joined) <= {i for one in done for i in one["joined"]}
    assert sum("wind" in m.tags for m in marks.values()) == total["tags"] - total["untags"]
    stored = [row["number"] for row in store.shot_rows(limit=5000, measures=())]
    assert sorted(stored) == sorted([*range(1, SHOTS + 1), *(n for one in done for n in one["shots"])])
    assert sum(len(store.corrections(i)) for i in ids) == total["corrections"]
    exclusions = [e for i in ids for e in store.exclusions(i)]
    assert len(exclusions) == total["excluded"]
    assert sum(e.lifted_unix_s is not None for e in exclusions) == total["included"]
    assert len(store.limit_history(limit=1000)) == total["limits"]
    assert len(store.setup_versions(limit=1000)) == total["setups"]


def test_nothing_is_lost_and_nothing_doubled(tmp_path: Path) -> None:
    with server() as first:
        url = Databases(first).empty()
        store = open_store(url)
        ids = [i for n in range(1, SHOTS + 1) if (i := add(store, recording(store), shot(n))) is not None]
        token = store.change_token()
        code = f"import sys; sys.path[:0] = {[str(Path(__file__).parents[1])]!r}\n" + (
            "import json; from faults.test_store_two_coaches import coach\n"
            "print(json.dumps(coach(sys.argv[1], sys.argv[2], int(sys.argv[3]))))"
        )
        coaches = [
            subprocess.Popen(
                [sys.executable, "-c", code, url, name, str(OPERATIONS // 2)], stdout=subprocess.PIPE, text=True
            )
            for name in ("Lane 1's coach", "Lane 11's coach")
        ]
        told = [(coach.communicate(timeout=300)[0], coach.returncode) for coach in coaches]
        assert [status for _, status in told] == [0, 0]
        done = [json.loads(words) for words, _ in told]
        check(store, ids, done)
        assert store.change_token() > token
        summary = [{k: v if isinstance(v, int) else len(v) for k, v in d.items()} for d in done]
        print(f"{OPERATIONS} operations of two coaches: {summary}")
        store.close()


@pytest.mark.parametrize("name", ["Lane 1's coach"])
def test_what_is_checked_would_be_seen(name: str, tmp_path: Path) -> None:
    """One lost remark, one doubled impact: the check has eyes."""
    url = f"sqlite:///{tmp_path / 's.sqlite3'}"
    store = open_store(url)
    ids = [i for n in range(1, SHOTS + 1) if (i := add(store, recording(store), shot(n))) is not None]
    done = coach(url, name, 60)
    check(store, ids, [done])
    with pytest.raises(AssertionError):
        check(store, ids, [{**done, "remarks": [*done["remarks"], "lost"]}])
    store.add_impact(NewImpact(done["impacts"][0], 0.0))
    with pytest.raises(AssertionError):
        check(store, ids, [done])
    store.close()
