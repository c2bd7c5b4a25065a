"""What the page's server refuses, asked as an attacker would."""

from __future__ import annotations

import json
import re
import socket
import urllib.request

import pytest
from flask.testing import FlaskClient
from quiethand.errors import InputError
from quiethand.store.store import Store
from quiethand_dashboard.app import create_app, serve
from quiethand_dashboard.security import MOST_BYTES

POLL = {
    "output": "..token.data...sensor.children...notice.children..",
    "outputs": [
        {"id": "token", "property": "data"},
        {"id": "sensor", "property": "children"},
        {"id": "notice", "property": "children"},
    ],
    "inputs": [{"id": "pulse", "property": "n_intervals", "value": 1}],
    "state": [
        {"id": "token", "property": "data", "value": None},
        {"id": "sensor", "property": "children", "value": None},
    ],
    "changedPropIds": ["pulse.n_intervals"],
}


@pytest.fixture(scope="module")
def client(store: Store) -> FlaskClient:
    return create_app(store).server.test_client()


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8050", "localhost:8050"])
def test_it_answers_to_its_own_names(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8050", ""])
@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/_dash-dependencies", "/assets/quiethand.css"])
def test_a_name_that_is_not_its_own_gets_nothing(client: FlaskClient, host: str, path: str) -> None:
    answer = client.get(path, headers={"Host": host})
    assert answer.status_code == 400
    assert b"Quiethand" not in answer.data


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, 200),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),  # another port of this machine is not this page
        ({"Sec-Fetch-Site": "none"}, 403),
        ({"Origin": "http://localhost"}, 200),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "http://localhost:9999"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"}, 403),
    ],
)
def test_only_the_page_itself_may_ask_for_callbacks(client: FlaskClient, headers: dict[str, str], status: int) -> None:
    answer = client.post("/_dash-update-component", json=POLL, headers={"Host": "localhost", **headers})
    assert answer.status_code == status


def test_the_policy_lets_nothing_in_from_elsewhere(client: FlaskClient) -> None:
    page = client.get("/", headers={"Host": "localhost"})
    policy = page.headers["Content-Security-Policy"]
    directives = dict(part.split(" ", 1) for part in policy.split("; "))
    assert directives["default-src"] == "'none'"
    assert "unsafe" not in directives["script-src"]
    assert "http" not in policy
    assert directives["frame-ancestors"] == "'none'"
    assert page.headers["X-Content-Type-Options"] == "nosniff"


def test_the_page_names_its_language_and_no_address_elsewhere(client: FlaskClient) -> None:
    page = client.get("/", headers={"Host": "localhost"}).get_data(as_text=True)
    assert '<html lang="en">' in page
    assert re.findall(r"(?:src|href)=\"(?:https?:)?//", page) == []


@pytest.mark.parametrize(
    "path",
    ["/assets/../app.py", "/assets/%2e%2e/app.py", "/assets/..%2fapp.py", "/assets//etc/passwd",
     "/..%2f..%2fetc/passwd", "/_dash-component-suites/dash/../../../etc/passwd",
     "/_dash-component-suites/quiethand/store/store.py"],
)  # fmt: skip
def test_no_path_leads_out(client: FlaskClient, path: str) -> None:
    answer = client.get(path, headers={"Host": "localhost"})
    assert b"root:" not in answer.data
    assert b"import" not in answer.data
    # a path of no page is answered with the shell, which says that there is none
    assert answer.status_code != 200 or b"<!DOCTYPE html>" in answer.data


def test_a_body_that_is_too_large_is_refused(client: FlaskClient) -> None:
    body = json.dumps(POLL | {"padding": "x" * MOST_BYTES})
    answer = client.post(
        "/_dash-update-component", data=body, content_type="application/json", headers={"Host": "localhost"}
    )
    assert answer.status_code == 413


def test_a_broken_request_tells_nothing_of_the_machine(client: FlaskClient) -> None:
    answer = client.post("/_dash-update-component", data=b"{", headers={"Host": "localhost"})
    assert answer.status_code >= 400
    assert b"Traceback" not in answer.data
    assert b"/quiethand" not in answer.data


def test_an_address_in_use_is_told_in_one_line(store: Store) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(InputError, match="--port"):
        serve(create_app(store), "127.0.0.1", taken.getsockname()[1])


def test_the_environment_opens_no_other_address(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    import waitress

    asked = {}

    class Started(Exception):
        pass

    def create(application: object, **settings: object) -> None:
        asked.update(settings)
        raise Started

    monkeypatch.setenv("HOST", "0.0.0.0")
    monkeypatch.setenv("PORT", "80")
    monkeypatch.setattr(waitress, "create_server", create)
    with pytest.raises(Started):
        serve(create_app(store))
    assert asked["host"] == "127.0.0.1"
    assert asked["port"] != 80


def test_nothing_opens_the_network_while_the_page_is_built(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the page asked for something from elsewhere")

    monkeypatch.setattr(urllib.request, "urlopen", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)
    assert create_app(store).server.test_client().get("/", headers={"Host": "localhost"}).status_code == 200
