"""A scripted attacker who got in: scripts in names and remarks stay text, and paths in any parameter lead nowhere.

Every callback that the server has is asked, found by Dash's own list of them, so that a new one is not forgotten.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest
from flask.testing import FlaskClient
from invented_league import EVENING, add, document, recording, shot
from quiethand.control import SupervisorState, read_wish, recording_of, write_supervisor
from quiethand.store.store import Store, open_store
from quiethand.store.typed_records import NewImpact
from quiethand_dashboard.access import Access
from quiethand_dashboard.app import PAGES, create_app
from quiethand_dashboard.chosen_sets import FIELDS, WHICH

SCRIPT = "<script>alert(1)</script>"
LINK = '<a href="javascript:alert(2)">x</a><img src=x onerror=alert(3)>'
AROUND = {"Host": "localhost", "Sec-Fetch-Site": "same-origin"}
QUERY_NAMES = (
    "shot", "shots", "archer", "bow", "arrow", "from", "to", "face", "measure", "by",
    *(f"{which}.{name}" for which in WHICH for name in FIELDS),
)  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the home in it and a file beside the home that nobody may read."""
    folder = tmp_path_factory.mktemp("machine")
    (folder / "home" / "recordings").mkdir(parents=True)
    (folder / "secret.qhr").write_text("root:x:0:0")
    return folder


@pytest.fixture(autouse=True)
def _home_beside_the_secret(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QUIETHAND_HOME", str(place / "home"))


@pytest.fixture(scope="module")
def hostile(place: Path) -> Iterator[Store]:
    """Shots whose every name, tag and remark is a script."""
    store = open_store(f"sqlite:///{place / 'home' / 'quiethand.sqlite3'}")
    rng = np.random.default_rng(5)
    for late, mass in enumerate(("Match arrow", "Heavy practice arrow")):
        doc = document(4, mass, bow=f"bow {SCRIPT}")
        doc["archer"]["name"] = f"archer {SCRIPT}"
        doc["arrow"]["name"] = f"{mass} {LINK}"
        to = recording(store, 4, mass, EVENING + 1200 * late, doc)
        found = [add(store, to, shot(n, mass, rng), EVENING + 1200 * late, doc) for n in range(1, 9)]
        shots = [i for i in found if i is not None]
        store.add_tag(shots[2:6], f"tag {SCRIPT}")
        store.add_remark(shots[-1], f"remark {LINK}")
        store.call_shot(shots[-1], word=f"call {SCRIPT}")
        store.exclude([shots[0], shots[-2]], f"reason {SCRIPT}")
        for i in shots[1:]:
            right, up = (float(v) for v in rng.normal(0, 20, 2))
            archer = doc["archer"]["name"]
            store.add_impact(NewImpact(right, up, i, archer=archer, face="40 cm", remark=f"impact {LINK}"))
    archer, bow = f"archer {SCRIPT}", f"bow {SCRIPT}"
    store.add_setup_version(archer, bow, doc, from_day="2026-11-01", remark=f"why {LINK}")
    yield store
    store.close()


@pytest.fixture(scope="module")
def client(hostile: Store) -> FlaskClient:
    access = Access()
    asked: FlaskClient = create_app(hostile, access).server.test_client(use_cookies=False)
    cookie = asked.get(access.link(), headers=AROUND).headers["Set-Cookie"].split(";")[0]
    asked.environ_base["HTTP_COOKIE"] = cookie
    return asked


@pytest.fixture(scope="module")
def callbacks(client: FlaskClient) -> list[dict[str, Any]]:
    found = [
        one for one in client.get("/_dash-dependencies", headers=AROUND).get_json() if not one["clientside_function"]
    ]
    assert len(found) > 30
    return found


def named(part: Mapping[str, str]) -> str:
    return f"{part['id']}.{part['property']}"


def ask(client: FlaskClient, callback: Mapping[str, Any], values: Mapping[str, Any], changed: str | None = None) -> str:
    """The answer's text to a callback with these values; an input that is not among them has none."""

    def given(part: Mapping[str, str]) -> Any:
        if part["id"].startswith("{"):  # of many components: of one of them
            one = {"id": {"type": "remove-impact", "impact": values.get("impact", 1)}, "property": part["property"]}
            return [one | {"value": None}]
        return {"id": part["id"], "property": part["property"], "value": values.get(named(part))}

    names = callback["output"].strip(".").split("...")
    outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
    body = {
        "output": callback["output"],
        "outputs": outputs if callback["output"].startswith("..") else outputs[0],
        "inputs": [given(part) for part in callback["inputs"]],
        "state": [given(part) for part in callback["state"]],
        "changedPropIds": [changed or named(callback["inputs"][0])],
    }
    answer = client.post("/_dash-update-component", json=body, headers=AROUND)
    assert answer.status_code in (200, 204), (callback["output"], answer.status_code)
    return answer.get_data(as_text=True)


def ordinary(store: Store) -> dict[str, Any]:
    """What the browser would send of each page."""
    newest, other = store.latest_shots(2)
    who = urlencode({"archer": newest.archer, "bow": newest.bow})
    return {
        "zone.data": "Europe/Helsinki", "scheme-shown.data": "light", "token.data": 1,
        "latest-shown.data": {"shot": newest.id, "last": newest.id},
        "shot-url.search": f"?shot={newest.id}", "compare-url.search": f"?shots={newest.id},{other.id}",
        "url.search": "", "sets-url.search": "", "over-url.search": "", "group-url.search": "",
        "sets-url.pathname": "/compare/sets", "over-url.pathname": "/over-time", "group-url.pathname": "/group",
        "compare-url.pathname": "/compare", "setup-who.value": who, "setup-units.value": "metric",
        "sensor-kind.value": "still", "launch-bow.value": str(newest.setup_id), "launch-mass.value": 400,
        "launch-let-off.value": 75, "launch-let-off.disabled": False,
    }  # fmt: skip


def strings(tree: Any, way: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], str]]:
    if isinstance(tree, str):
        yield way, tree
    elif isinstance(tree, Mapping):
        for key, value in tree.items():
            yield from strings(value, (*way, str(key)))
    elif isinstance(tree, list):
        for value in tree:
            yield from strings(value, way)


def test_a_script_in_a_name_or_a_remark_stays_text_on_every_page(
    client: FlaskClient, callbacks: list[dict[str, Any]], hostile: Store
) -> None:
    values = ordinary(hostile)
    trees = []
    for callback in callbacks:
        paths = [page.path for page, _ in PAGES] if callback["output"].startswith("..page.") else [None]
        for path in paths:
            text = ask(client, callback, values | ({"url.pathname": path} if path else {}))
            trees += [json.loads(text)] if text else []
    shown = [(way, text) for tree in trees for way, text in strings(tree)]
    for word in ("archer", "bow", "tag", "remark", "call", "reason", "why"):
        told = [text for _, text in shown if f"{word} <" in text]
        assert told, f"the {word} is shown nowhere: this test would see nothing"
    for way, text in shown:
        # React puts children and values into the page as text; these alone would be read as more
        if way[-1] in ("href", "src", "srcDoc", "action", "formAction", "dangerouslySetInnerHTML"):
            assert text.startswith(("/", "?", "#")), (way, text)
            assert "<" not in text
        if way[-1] == "type":
            assert text not in ("Markdown", "Iframe", "Script", "ObjectEl", "Embed"), way
    # Plotly reads tags in any text of a figure
    drawn = [text for way, text in shown if "figure" in way or any(part.endswith("-fresh") for part in way)]
    assert [text for text in drawn if "&lt;a href" in text]
    assert [text for text in drawn if "<script" in text or "<a " in text or "<img" in text] == []


OPENED: list[str] = []
WATCHING: list[bool] = []


def watch(event: str, args: tuple[Any, ...]) -> None:
    if WATCHING and event in ("open", "sqlite3.connect", "os.remove", "os.rename", "os.mkdir"):
        OPENED.append(str(args[0]))


@pytest.fixture
def opened() -> Iterator[list[str]]:
    """Every file that Python opens, makes or removes meanwhile."""
    if watch not in HOOKED:
        sys.addaudithook(watch)  # can't be taken back, so it is asked only while `WATCHING`
        HOOKED.append(watch)
    OPENED.clear()
    WATCHING.append(True)
    yield OPENED
    WATCHING.clear()


HOOKED: list[Any] = []


def test_a_path_in_any_parameter_leads_nowhere(
    client: FlaskClient, callbacks: list[dict[str, Any]], hostile: Store, place: Path, opened: list[str]
) -> None:
    state = SupervisorState(port="/dev/ttyACM0", ports=("/dev/ttyACM0",), setup="bow.toml")
    values = ordinary(hostile)
    ways_out = ("../secret.qhr", str(place / "secret.qhr"), f"file://{place}/secret.qhr", "..%2f..%2fsecret.qhr\0")
    asked = 0
    for callback in callbacks:
        parts = [named(part) for part in (*callback["inputs"], *callback["state"])]
        presses = [name for name in parts if name.endswith("n_clicks")] or [parts[0]]
        for number, name in enumerate(parts):
            way_out = ways_out[number % len(ways_out)]
            worse: Any = way_out
            if name.endswith("search"):
                worse = "?" + urlencode(dict.fromkeys(QUERY_NAMES, way_out))
            elif name == "sensor-asked.data":
                worse = {"for": "still", "step": "write", "recording": way_out, "id": "1", "unix_s": time.time()}
            write_supervisor(place / "home", state)
            text = ask(client, callback, values | {name: worse}, presses[number % len(presses)])
            assert "root:x" not in text
            assert str(place) not in text.replace(way_out, "").replace(json.dumps(way_out)[1:-1], "")
            asked += 1
    assert asked > 150
    for way_out in ways_out:
        for press in ("sensor-begin", "sensor-finish", "sensor-write"):
            callback = next(one for one in callbacks if one["output"] == "sensor-asked.data")
            worse = {"for": "still", "step": "try", "recording": way_out}
            write_supervisor(place / "home", state)
            ask(client, callback, values | {"sensor-asked.data": worse}, f"{press}.n_clicks")
            wish = read_wish(place / "home")
            assert wish is not None
            assert recording_of(place / "home", wish.recording) is None
    assert any("control.json" in path for path in opened)  # the watch sees what is opened
    assert not [path for path in opened if "secret" in path]
    assert sorted(path.name for path in place.iterdir()) == ["home", "secret.qhr"]
    assert (place / "secret.qhr").read_text() == "root:x:0:0"
