"""The plug is pulled at random bytes and put back: every byte before is kept, the gap is marked, recording goes on.

The long run, from the top of the project (some 90 s):

    QUIETHAND_CYCLES=1000 python -m pytest tests/faults/test_recorder_unplugged.py -s
"""

from __future__ import annotations

import os
import select
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from faults.recorder_device import DESCRIPTION, PtyDevice, Streamer, TcpDevice, cut_at_random, device_bytes, undelimited
from quiethand.link.record_loop import Progress, record_loop
from quiethand.link.recorder import Recorder
from quiethand.link.recording_file import RecordingFile
from quiethand.link.search import PortSearch
from quiethand.link.serial_port import open_link
from quiethand_protocol.items import Blocks, Located
from quiethand_protocol.messages import Gap
from quiethand_protocol.parser import Parser

CYCLES = int(os.environ.get("QUIETHAND_CYCLES", "100"))  # 1,000 in the long run
CUTS = max(6, CYCLES // 20)
PORTS = 8  # side by side, as most of a cycle is waiting
SEED = 471


def record_while(url: str, out: Path, body: Callable[[], None], search: PortSearch | None = None) -> list[Progress]:
    """Run the recorder in a thread while `body` plays the device; what it showed."""
    done = threading.Event()
    wrong: list[BaseException] = []
    shown: list[Progress] = []
    recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="unplugged")

    def run() -> None:
        try:
            record_loop(
                recorder,
                open_link(url),
                RecordingFile(out),
                url=url,
                baud=921_600,
                enough=lambda _progress: done.is_set(),
                show=shown.append,
                search=search,
            )
        except BaseException as error:
            wrong.append(error)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        body()
    finally:
        done.set()
        thread.join(timeout=10)
    assert not thread.is_alive()
    assert wrong == []
    return shown


def judge(device: Streamer, out: Path, gaps: int) -> None:
    file = out.read_bytes()
    assert device_bytes(file) == b"".join(undelimited(sent) for sent in device.sent)
    parser = Parser("recording")
    items = parser.feed(file) + parser.finish()
    assert sum(isinstance(i, Located) and isinstance(i.message, Gap) for i in items) == gaps
    assert parser.bad_frames <= gaps  # at most the frame that each pull cut
    numbers = [int(block) for i in items if isinstance(i, Blocks) for block in i.counts[::20, 0]]
    assert numbers == sorted(set(numbers))  # none invented, none twice
    assert len(numbers) >= device.block - gaps


def test_tcp_cut_and_back(tmp_path: Path) -> None:
    print(f"{CUTS} cuts, seed {SEED}")
    device = TcpDevice(cut_at_random(Random(SEED), 200, 6000))

    def body() -> None:
        until = time.monotonic() + 30 + CUTS
        while len(device.sent) <= CUTS and time.monotonic() < until:
            time.sleep(0.02)
        device.close()
        time.sleep(0.3)

    record_while(device.url, tmp_path / "cut.qhr", body)
    assert len(device.sent) > CUTS  # every cut asked for was made within the time
    judge(device, tmp_path / "cut.qhr", len(device.sent))


@pytest.mark.skipif(sys.platform == "win32", reason="ptys are POSIX's")
def test_serial_port_unplugged_and_back(tmp_path: Path) -> None:
    cycles = -(-CYCLES // PORTS)
    print(f"{PORTS} ports, {cycles} cycles each, seed {SEED}")
    with ThreadPoolExecutor(PORTS) as pool:
        ports = [tmp_path / f"port{number}" for number in range(PORTS)]
        back = list(pool.map(unplugged_and_back, ports, range(SEED, SEED + PORTS), [cycles] * PORTS))
    print(f"back after at most {max(map(max, back)):.2f} s")
    assert max(map(max, back)) < 2.0


def unplugged_and_back(port: Path, seed: int, cycles: int) -> list[float]:
    """How long each return took until samples came."""
    random = Random(seed)
    device, out = PtyDevice(port), port.with_suffix(".qhr")
    back: list[float] = []

    def play() -> None:
        for _ in range(cycles):
            limit = random.randint(200, 6000)
            appeared = time.monotonic()
            device.plug(
                lambda sent, limit=limit, since=appeared: sent >= limit or time.monotonic() - since > 5,  # type: ignore[misc]
                out,
            )
            since = device.streaming_since[-1]
            back.append(float("inf") if since is None else since - appeared)
            time.sleep(random.uniform(0.0, 0.2))

    player = threading.Thread(target=play)
    player.start()
    while not port.exists():
        time.sleep(0.001)

    def body() -> None:
        player.join()
        time.sleep(0.3)

    record_while(str(port), out, body)
    judge(device, out, cycles)
    return back


@pytest.mark.skipif(sys.platform == "win32", reason="ptys are POSIX's")
def test_a_sensor_that_returns_under_another_name_is_found_and_no_other_touched(tmp_path: Path) -> None:
    """Beside it: a port that was there before, another sensor plugged in meanwhile, one that another program has."""
    sensor, out = PtyDevice(tmp_path / "first"), tmp_path / "one.qhr"
    stranger = PtyDevice(tmp_path / "stranger", replace(DESCRIPTION, uid=b"stranger"))
    bystanders = {name: os.openpty() for name in ("before", "busy")}
    over = threading.Event()

    def appear(name: str) -> None:
        (tmp_path / name).symlink_to(os.ttyname(bystanders[name][1]))

    def names() -> list[str]:
        return [str(path) for path in tmp_path.iterdir() if path.is_symlink()]

    appear("before")
    holder = open_link(os.ttyname(bystanders["busy"][1]))  # for itself alone, as terminal programs do
    first = threading.Thread(target=sensor.plug, args=(lambda sent: sent > 3000, out))
    first.start()
    while not (tmp_path / "first").exists():
        time.sleep(0.001)

    def body() -> None:
        first.join()
        appear("busy")
        other = threading.Thread(target=stranger.plug, args=(lambda _sent: over.is_set(),))
        other.start()
        time.sleep(0.5)
        for name, until in (("second", 3000), ("first", 3000)):  # away, and home again
            sensor.path = tmp_path / name
            since = time.monotonic()
            sensor.plug(lambda sent, until=until: sent > until, out)  # type: ignore[misc]
            began = sensor.streaming_since[-1]
            assert began is not None
            assert began - since < 2.0
        time.sleep(0.3)
        over.set()
        other.join()

    url = str(tmp_path / "first")
    shown = record_while(url, out, body, PortSearch(url, 921_600, names))
    holder.close()
    judge(sensor, out, 3)
    said = [text.replace(f"{tmp_path}/", "") for text in shown[-1].complaints]
    assert [text for text in said if "back as" in text] == [
        "the sensor is back as second",
        "the sensor is back as first",
    ]
    assert f"stranger is another sensor ({b'stranger'.hex()}); it is left alone" in said
    assert {text.split()[1] for text in said if text.startswith("asking")} == {"stranger", "second", "first"}
    assert stranger.streaming_since == [None]  # asked who it is, and no more
    for master, slave in bystanders.values():
        assert select.select([master], [], [], 0)[0] == []
        os.close(slave)
        os.close(master)
