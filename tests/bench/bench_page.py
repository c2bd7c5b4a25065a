"""First useful paint and callbacks' times of the page with many shots stored.

Run `python tests/bench/bench_page.py [--shots 1000] [--opens 5]`; the larger case is `--shots 10000`. Useful is the
newest shot's sentence and its large figures in view, from the moment the address is asked for, in a browser that has
been here before (its cache holds the scripts). Callbacks' bodies are timed in this process, without the browser.
"""

from __future__ import annotations

import argparse
import logging
import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from invented_league import EVENING, add, document, recording, shot
from quiethand.store.store import Store, open_store

LAUNCH_FLAGS = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking"]
A_DAY = 60  # shots


def fill(store: Store, shots: int) -> None:
    """Days of sixty shots by two lanes with two arrows; twenty different shots, again and again."""
    rng = np.random.default_rng(1)
    kinds = [(lane, arrow) for arrow in ("Match arrow", "Heavy practice arrow") for lane in (7, 4)]
    made = {arrow: [shot(n, arrow, rng) for n in range(1, 21)] for _, arrow in kinds}
    from dataclasses import replace

    for first in range(0, shots, A_DAY):
        day = first // A_DAY
        lane, arrow = kinds[day % len(kinds)]
        started = EVENING - 86400.0 * (shots // A_DAY - day)
        doc = document(lane, arrow)
        to = recording(store, lane, arrow, started, doc)
        for number in range(1, min(A_DAY, shots - first) + 1):
            add(store, to, replace(made[arrow][number % 20], number=number, release_s=60.0 * number), started, doc)


def timed(body: Callable[[], Any], times: int = 30) -> list[float]:
    found = []
    for _ in range(times):
        started = time.perf_counter()
        body()
        found.append(time.perf_counter() - started)
    return sorted(found)


def callbacks(store: Store) -> dict[str, Callable[[], Any]]:
    from quiethand_dashboard.callbacks import compare, latest, launch, over_time, shell

    newest = [s.id for s in store.latest_shots(2)]
    choices = launch.bow_choices(store)
    choice = next(iter(choices.values()))
    return {
        "pulse": lambda: shell.pulse(store, None, None, time.time()),
        "latest, words": lambda: latest.latest_text(store, None, UTC),
        "latest, figures": lambda: latest.latest_figures(store, newest[0], "light"),
        "compare, rows": lambda: compare.grid_rows(store, UTC),
        "compare, two": lambda: compare.compare_view(store, newest, "light", UTC),
        "over time, shots": lambda: over_time.over_view(store, None, "light", UTC),
        "over time, days": lambda: over_time.over_view(store, "?by=day", "light", UTC),
        "bow, choices": lambda: launch.bow_choices(store),
        "bow, a slider": lambda: launch.launch_view(choice, 0.025, None, "light"),
    }


def paints(store: Store, opens: int, browser_path: str) -> list[float]:
    from playwright.sync_api import sync_playwright
    from quiethand_dashboard import ids
    from quiethand_dashboard.access import Access
    from quiethand_dashboard.app import create_app
    from waitress import create_server

    access = Access()
    server = create_server(create_app(store, access).server, host="127.0.0.1", port=0, threads=8)
    threading.Thread(target=server.run, daemon=True).start()
    address = f"http://127.0.0.1:{server.effective_port}/"
    found = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path, args=LAUNCH_FLAGS)
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        context.set_default_timeout(60_000)
        context.request.get(address.rstrip("/") + access.link())
        for _ in range(opens + 1):
            page = context.new_page()
            started = time.perf_counter()
            page.goto(address, wait_until="commit")
            page.locator(f"#{ids.LATEST_FIGURES} .number").first.wait_for()
            found.append(time.perf_counter() - started)
            page.close()
        browser.close()
    server.close()
    return found[1:]  # the first one filled the cache


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--shots", type=int, default=1000)
    options.add_argument("--opens", type=int, default=5)
    options.add_argument("--browser", default="/usr/bin/chromium")
    chosen = options.parse_args()
    logging.disable(logging.INFO)
    with tempfile.TemporaryDirectory() as home:
        os.environ["QUIETHAND_HOME"] = home
        store = open_store(f"sqlite:///{home}/shots.db")
        fill(store, chosen.shots)
        load = os.getloadavg()[0] / (os.cpu_count() or 1)
        print(f"{store.shot_count()} shots stored; {load:.1f} processes wanting each processor")
        print(f"{'callback':<20}{'median':>10}{'95 %':>10}")
        for name, body in callbacks(store).items():
            body()
            times = timed(body)
            print(f"{name:<20}{1e3 * statistics.median(times):>7.0f} ms{1e3 * times[int(0.95 * len(times))]:>7.0f} ms")
        painted = paints(store, chosen.opens, chosen.browser)
        print(f"first useful paint: median {statistics.median(painted):.2f} s, longest {max(painted):.2f} s")
        store.close()


if __name__ == "__main__":
    main()
