"""What the page's server refuses, asked as an attacker would."""

from __future__ import annotations

import json
import re
import socket
import urllib.request
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from quiethand.errors import InputError
from quiethand.store.store import Store
from quiethand_dashboard.access import COOKIE_DAYS, Access
from quiethand_dashboard.addresses import names_served, shown_host
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


HOST = {"Host": "localhost"}


@pytest.fixture(scope="module")
def access() -> Access:
    return Access()


@pytest.fixture(scope="module")
def stranger(store: Store, access: Access) -> FlaskClient:
    """A browser that has opened no link, and keeps no cookie of its own accord."""
    return create_app(store, access).server.test_client(use_cookies=False)


@pytest.fixture(scope="module")
def client(stranger: FlaskClient, access: Access) -> FlaskClient:
    """One that has."""
    known = stranger.application.test_client(use_cookies=False)
    known.environ_base["HTTP_COOKIE"] = f"{access.cookie}={opened(stranger, access.link())}"
    return known


def opened(client: FlaskClient, link: str) -> str:
    """Open a link; the cookie's value."""
    answer = client.get(link, headers=HOST)
    assert answer.status_code == 303
    return answer.headers["Set-Cookie"].split(";")[0].split("=", 1)[1]


def test_a_link_opens_once_and_leaves_the_address(stranger: FlaskClient, access: Access) -> None:
    link = access.link()
    answer = stranger.get(link, headers=HOST)
    name, *attributes = answer.headers["Set-Cookie"].split("; ")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(attributes)
    assert "Domain" not in answer.headers["Set-Cookie"]
    assert answer.headers["Location"] == "/"
    token = link.split("=")[1]
    assert token not in name  # what stands in the address is not what opens the page afterwards
    again = stranger.get(link, headers=HOST)
    assert again.status_code == 403
    assert "Set-Cookie" not in again.headers


def test_several_devices_each_by_a_link_of_its_own(stranger: FlaskClient, access: Access) -> None:
    one, other = (opened(stranger, access.link()) for _ in range(2))
    assert one != other
    for value in (one, other):
        cookie = {"Cookie": f"{access.cookie}={value}"}
        assert stranger.get("/", headers=HOST | cookie).status_code == 200


@pytest.mark.parametrize(
    "link", ["/open", "/open?token=", "/open?token=x", "/open?token=" + "A" * 43, "/open?token[]=1", "/open?token=%00"]
)
def test_a_guessed_link_opens_nothing(stranger: FlaskClient, link: str) -> None:
    answer = stranger.get(link, headers=HOST)
    assert answer.status_code == 403
    assert "Set-Cookie" not in answer.headers


def test_a_look_ahead_does_not_use_a_link_up(stranger: FlaskClient, access: Access) -> None:
    link = access.link()
    assert stranger.head(link, headers=HOST).status_code == 503
    assert stranger.get(link, headers=HOST | {"Sec-Purpose": "prefetch;prerender"}).status_code == 503
    assert opened(stranger, link)


@pytest.mark.parametrize(
    "path",
    ["/", "/compare", "/_dash-layout", "/_dash-dependencies", "/assets/quiethand.css", "/_favicon.ico",
     "/_dash-component-suites/dash/html/dash_html_components.min.js"],
)  # fmt: skip
@pytest.mark.parametrize("cookie", ["", "x", "{name}=", "{name}=guessed", "{name}={link}", "other={value}"])
def test_without_its_cookie_a_browser_gets_nothing(
    stranger: FlaskClient, client: FlaskClient, access: Access, path: str, cookie: str
) -> None:
    value = client.environ_base["HTTP_COOKIE"].split("=", 1)[1]
    sent = cookie.format(name=access.cookie, link=access.link().split("=")[1], value=value)
    answer = stranger.get(path, headers=HOST | {"Cookie": sent})
    assert answer.status_code == 401
    assert b"react" not in answer.data
    assert b"_dash-config" not in answer.data


def test_without_its_cookie_no_callback_answers(stranger: FlaskClient) -> None:
    answer = stranger.post("/_dash-update-component", json=POLL, headers=HOST | {"Sec-Fetch-Site": "same-origin"})
    assert answer.status_code == 401


def test_devices_outlive_the_server_and_links_come_from_another_process(tmp_path: Path) -> None:
    file = tmp_path / "page-access.json"
    served = Access(file)
    link = Access(file).link()
    value = served.open(link.split("=")[1])
    assert value
    assert served.open(link.split("=")[1]) is None
    assert Access(file).holds(value)
    assert value not in file.read_text()
    assert link.split("=")[1] not in file.read_text()
    assert file.stat().st_mode & 0o077 == 0


def test_a_link_and_a_cookie_end() -> None:
    clock = [1000.0]
    access = Access(now=lambda: clock[0])
    late = access.link(valid_s=60).split("=")[1]
    value = access.open(access.link().split("=")[1])
    clock[0] += 61
    assert access.open(late) is None
    assert access.holds(value)
    clock[0] += COOKIE_DAYS * 86400
    assert not access.holds(value)


def test_a_damaged_file_of_devices_lets_nobody_in(tmp_path: Path) -> None:
    file = tmp_path / "page-access.json"
    for text in ("{", "[]", '{"id": 3}', '{"id": "a", "links": [], "devices": {}}'):
        file.write_text(text)
        access = Access(file)
        assert not access.holds("x")
        assert access.open(access.link().split("=")[1])


def test_names_served_are_those_of_this_machine() -> None:
    assert names_served("127.0.0.1") == ["127.0.0.1", "localhost"]
    assert names_served("192.0.2.7") == ["192.0.2.7"]
    everywhere = names_served("0.0.0.0")
    assert {"127.0.0.1", "localhost", shown_host("0.0.0.0")} <= set(everywhere)
    assert "0.0.0.0" not in everywhere


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
        serve(create_app(store, Access()), "127.0.0.1", taken.getsockname()[1])


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
        serve(create_app(store, Access()))
    assert asked["host"] == "127.0.0.1"
    assert asked["port"] != 80


def test_nothing_opens_the_network_while_the_page_is_built(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the page asked for something from elsewhere")

    monkeypatch.setattr(urllib.request, "urlopen", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)
    assert create_app(store, Access()).server.test_client().get("/", headers=HOST).status_code == 401
