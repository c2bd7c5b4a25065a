"""Does a long evening at the highest rate lose anything? A sensor in software at 8 kHz over TCP, `quiethand live`, and
its page open in a browser that clicks through it.

Run `python tests/bench/long_link.py [--minutes 10] [--rate 8000] [--no-browser] [--json FILE]`. Exit status 0: nothing
lost, no bad frame, and the recorder's memory flat (it grows by less than 4 MB after the first minute). Prints the share
of one processor that each process took. Without a browser (or with --no-browser) the page is fetched in its place.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import psutil
from quiethand_dashboard.access import Access

QUIETHAND = [sys.executable, "-c", "from quiethand.commands import main; main()"]
LOOK_EVERY_S = 5.0
CLICK_EVERY_S = 2.0
GROWTH_MB = 4.0
BROWSER_FLAGS = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-dev-shm-usage"]


@dataclass
class Watched:
    """One process as time goes on."""

    name: str
    process: psutil.Process
    memory_mb: list[tuple[float, float]] = field(default_factory=list)  # time, resident
    cpu_s: float = 0.0

    def look(self, at_s: float) -> None:
        try:
            with self.process.oneshot():
                self.memory_mb.append((at_s, self.process.memory_info().rss / 1e6))
                times = self.process.cpu_times()
                self.cpu_s = times.user + times.system
        except psutil.NoSuchProcess:
            return


def named(process: psutil.Process) -> str | None:
    """Which part of quiethand a process is."""
    try:
        line = process.cmdline()
    except psutil.Error:
        return None
    verbs = {"record": "recorder", "follow": "analysis", "dashboard": "page"}
    return next((name for verb, name in verbs.items() if verb in line), None)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


def click_through(address: str, done: threading.Event, clicks: list[int]) -> None:
    """A person who can't keep their hands off: each page by its link, and the list of shots."""
    from playwright.sync_api import Error, sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=BROWSER_FLAGS)
        page = browser.new_page()
        page.set_default_timeout(60_000)
        page.goto(address)
        number = 0
        while not done.wait(CLICK_EVERY_S):
            try:
                links = page.locator("a.page-link, table a")
                count = links.count()
                if count:
                    links.nth(number % count).click(timeout=20_000)
                    clicks.append(number)
                number += 1
            except Error:  # a link that went away as the page was drawn anew
                number += 1
        browser.close()


def fetch(address: str, done: threading.Event, clicks: list[int]) -> None:
    """The page without a browser."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    opener.open(address, timeout=60).close()
    address = address.partition("/open?")[0]
    while not done.wait(CLICK_EVERY_S):
        for path in ("/", "/_dash-layout", "/_dash-dependencies"):
            with opener.open(address + path, timeout=60) as answer:
                answer.read()
        clicks.append(1)


def wait_for(what: Callable[[], bool], seconds: float, name: str) -> None:
    until = time.monotonic() + seconds
    while not what():
        if time.monotonic() > until:
            raise SystemExit(f"{name} did not come in {seconds:g} s")
        time.sleep(0.1)


def answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(address, timeout=5):
            return True
    except urllib.error.HTTPError:
        return True  # it wants a link first
    except OSError:
        return False


def counts(recording: Path) -> dict[str, object]:
    """What the file holds, by the same reader as every recording, and what the device says that it lost itself."""
    from quiethand.link.files import open_motion

    source = open_motion(str(recording), None)
    for _ in source:
        pass
    facts = source.facts
    return {
        "samples": facts.samples, "lost_samples": facts.lost_samples, "lost_in_device": facts.lost_in_device,
        "bad_frames": facts.bad_frames, "gaps": facts.gap_places, "segments": facts.segments,
        "rate_hz": facts.rate_hz, "duration_s": facts.duration_s, "bytes": facts.bytes_read,
    }  # fmt: skip


def measure(minutes: float, rate: float, browser: bool, folder: Path) -> dict[str, object]:
    environment = os.environ | {"QUIETHAND_HOME": str(folder / "home"), "OPENBLAS_NUM_THREADS": "1"}
    setup, recording, page_port = folder / "bow.toml", folder / "long.qhr", free_port()
    device = subprocess.Popen(
        [*QUIETHAND, "emulate", "--tcp", "0", "--rate", f"{rate:g}", "--setup-out", str(setup)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert device.stdout is not None
    url = device.stdout.readline().strip()
    files = ["--setup", str(setup), "--out", str(recording)]
    live = subprocess.Popen(
        [*QUIETHAND, "live", "--port", url, *files, "--page-port", str(page_port)],
        env=environment, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    address = f"http://127.0.0.1:{page_port}"
    done, clicks = threading.Event(), list[int]()
    link = address + Access(folder / "home" / "page-access.json").link()
    visitor = threading.Thread(target=click_through if browser else fetch, args=(link, done, clicks), daemon=True)
    try:
        wait_for(lambda: answers(address), 60, "the page")
        visitor.start()
        begun = time.monotonic()
        watched = {"sensor in software": Watched("sensor in software", psutil.Process(device.pid))}
        for child in psutil.Process(live.pid).children(recursive=True):
            name = named(child)
            if name:
                watched[name] = Watched(name, child)
        while (now := time.monotonic() - begun) < 60 * minutes:
            for one in watched.values():
                one.look(now)
            if live.poll() is not None or device.poll() is not None:
                raise SystemExit("it ended before its time")
            time.sleep(LOOK_EVERY_S)
        seconds = time.monotonic() - begun
    finally:
        done.set()
        live.send_signal(signal.SIGINT)
        live.wait(timeout=60)
        device.terminate()
        device.wait(timeout=10)
    visitor.join(timeout=30)
    settled = [mb for at, mb in watched["recorder"].memory_mb if at >= min(60.0, 30 * minutes)]
    return {
        "minutes": minutes, "rate": rate, "browser": browser, "clicks": len(clicks), **counts(recording),
        "processor_share": {name: round(one.cpu_s / seconds, 4) for name, one in watched.items()},
        "recorder_mb": {"after 1 min": settled[0], "at the end": settled[-1], "most": max(settled)},
        "load_average": os.getloadavg(),
    }  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--rate", type=float, default=8000.0)
    parser.add_argument("--no-browser", action="store_true")
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    browser = not asked.no_browser and shutil.which("chromium") is not None
    with tempfile.TemporaryDirectory() as folder:
        found = measure(asked.minutes, asked.rate, browser, Path(folder))
    text = json.dumps(found, indent=1)
    print(text)
    if asked.json:
        asked.json.write_text(text + "\n")
    memory = found["recorder_mb"]
    assert isinstance(memory, dict)
    flat = memory["most"] - memory["after 1 min"] < GROWTH_MB
    whole = not found["lost_samples"] and not found["bad_frames"] and not found["gaps"]
    memory_words = "flat" if flat else "GROWS"
    print(f"lost {found['lost_samples']}, bad frames {found['bad_frames']}, recorder's memory {memory_words}")
    return 0 if flat and whole else 1


if __name__ == "__main__":
    sys.exit(main())
