"""The page in a real browser: one server over one store, one Chromium, pages that watch for trouble."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from absent import ABSENT, need
from invented_league import league
from quiethand.store.store import Store, open_store

LAUNCH_FLAGS = [
    "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--disable-dev-shm-usage",
]  # fmt: skip


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    path = need("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=LAUNCH_FLAGS)
        # one context: its cache holds the page's scripts, which else would be read and compiled at every opening
        context = browser.new_context(timezone_id="Europe/Helsinki")
        context.set_default_timeout(60_000)  # costs nothing where a page is quick; a loaded machine is no failure
        yield context
        browser.close()


@pytest.fixture(scope="session")
def axe() -> Path:
    """axe-core's script; a package carries it, so that no registry is asked while tests run."""
    from importlib.util import find_spec

    found = find_spec("axe_playwright_python")
    if found is None or not found.submodule_search_locations:
        pytest.skip(ABSENT + "axe-core (axe-playwright-python)")
    return Path(next(iter(found.submodule_search_locations))) / "axe.min.js"


def served(store: Store, chromium: Any) -> Iterator[str]:
    """The address of a page over `store`, served by a thread until the test is done; the browser has opened it."""
    from quiethand_dashboard.access import Access
    from quiethand_dashboard.app import create_app
    from werkzeug.serving import make_server

    access = Access()
    server = make_server("127.0.0.1", 0, create_app(store, access).server, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    address = f"http://127.0.0.1:{server.server_port}"
    assert chromium.request.get(address + access.link()).ok
    yield address
    server.shutdown()
    thread.join(5)


@pytest.fixture(scope="session")
def league_store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('page') / 'league.db'}")
    league(store, evenings=2, shots=8)
    yield store
    store.close()


@pytest.fixture(scope="session")
def league_address(league_store: Store, chromium: Any) -> Iterator[str]:
    yield from served(league_store, chromium)


@pytest.fixture
def fresh_store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(f"sqlite:///{tmp_path / 'fresh.db'}")
    yield store
    store.close()


@pytest.fixture
def fresh_address(fresh_store: Store, chromium: Any) -> Iterator[str]:
    yield from served(fresh_store, chromium)


class Watch:
    """What a page asked for and complained of."""

    def __init__(self) -> None:
        self.elsewhere: list[str] = []
        self.failed: list[str] = []
        self.errors: list[str] = []

    def follow(self, page: Any, address: str) -> None:
        here = (address, "data:", "blob:")
        page.on("request", lambda r: None if r.url.startswith(here) else self.elsewhere.append(r.url))
        page.on("response", lambda r: self.failed.append(f"{r.status} {r.url}") if r.status >= 400 else None)
        page.on("pageerror", lambda e: self.errors.append(str(e)))
        page.on("console", lambda m: self.errors.append(m.text) if "Content Security Policy" in m.text else None)


@pytest.fixture
def open_page(chromium: Any) -> Iterator[Any]:
    """Opens pages: open_page(address, path, width=, height=, scheme=). Each must be free of trouble to the end."""
    pages, watches = [], []

    def opened(address: str, path: str = "/", *, width: int = 1440, height: int = 900, scheme: str = "light") -> Any:
        page, watch = chromium.new_page(), Watch()
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        watch.follow(page, address)
        pages.append(page)
        watches.append(watch)
        page.goto(address + path)
        return page

    yield opened
    for page in pages:
        page.close()
    for watch in watches:
        assert watch.elsewhere == []  # nothing is fetched from elsewhere
        assert watch.failed == []
        assert watch.errors == []
