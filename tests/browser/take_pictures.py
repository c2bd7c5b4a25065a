"""Take the README's picture: the latest shot of an invented league at 1440 x 900.

Run `python tests/browser/take_pictures.py PATH.png [--page "/over-time"] [--scheme dark]`.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

LAUNCH_FLAGS = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking"]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("path", type=Path)
    options.add_argument("--page", default="/")
    options.add_argument("--scheme", choices=("light", "dark"), default="light")
    options.add_argument("--browser", default="/usr/bin/chromium")
    chosen = options.parse_args()

    from browser_page import rested
    from invented_league import league
    from playwright.sync_api import sync_playwright
    from quiethand.store.store import open_store
    from quiethand_dashboard.access import Access
    from quiethand_dashboard.app import create_app
    from werkzeug.serving import make_server

    with tempfile.TemporaryDirectory() as home:
        os.environ["QUIETHAND_HOME"] = home
        store = open_store(f"sqlite:///{home}/league.db")
        league(store, evenings=3, shots=12)
        access = Access()
        server = make_server("127.0.0.1", 0, create_app(store, access).server, threaded=True)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chosen.browser, args=LAUNCH_FLAGS)
            page = browser.new_page(viewport={"width": 1440, "height": 900}, color_scheme=chosen.scheme)
            page.set_default_timeout(60_000)
            page.goto(f"http://127.0.0.1:{server.server_port}{access.link()}")
            page.goto(f"http://127.0.0.1:{server.server_port}{chosen.page}")
            rested(page)
            page.screenshot(path=chosen.path)
            browser.close()
        server.shutdown()
        store.close()
    print(f"{chosen.path}: {chosen.path.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
