"""The sensor's page: a calibration walked through against the sensor in software, as a person would."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect
from quiethand.bow.setup_file import read_setup
from quiethand.commands.children import Child, stop_all

expect.set_options(timeout=30_000)  # costs nothing where the machine is quick
QUIETHAND = [sys.executable, "-c", "from quiethand.commands import main; main()"]


@pytest.fixture
def live(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """`quiethand live` with a sensor in software that lies still, ten times as quick as time; its one-time link."""
    setup = tmp_path / "bow.toml"
    subprocess.run([*QUIETHAND, "setup", "--kind", "compound", "--out", str(setup)], check=True, capture_output=True)
    options = ["--tcp", "0", "--still", "--speed", "10", "--rate", "500"]
    sensor = Child("sensor", ["emulate", *options], output=subprocess.PIPE)
    assert sensor.process.stdout is not None
    url = sensor.process.stdout.readline().strip()
    environment = {**os.environ, "QUIETHAND_HOME": str(tmp_path / "home")}
    args = ["live", "--port", url, "--setup", str(setup), "--page-port", "8933"]
    process = subprocess.Popen([*QUIETHAND, *args], stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None
    link = next(found[0] for line in process.stdout if (found := re.findall(r"http://\S+token\S+", line)))
    yield link, setup
    process.terminate()
    process.communicate(timeout=20)
    stop_all([sensor])


def test_a_calibration_is_walked_through(open_page: Any, live: tuple[str, Path], axe: Path, tmp_path: Path) -> None:
    link, setup = live
    before = setup.read_bytes()
    address, path = re.match(r"(http://[^/]+)(/.*)", link).groups()  # type: ignore[union-attr]
    page = open_page(address, path)
    page.goto(f"{address}/sensor")
    expect(page.locator("#sensor-record-words")).to_contain_text("Recording shots to")
    figures = page.locator("#sensor-link")
    expect(figures.get_by_text("500 stated")).to_be_visible()
    expect(figures.get_by_text("Gravity at rest")).to_be_visible()
    page.get_by_role("button", name="Stop recording").click()
    expect(page.locator("#sensor-record-words")).to_have_text("Nothing is being recorded.")
    page.get_by_role("button", name="Begin").click()
    feedback = page.locator("#sensor-feedback")
    expect(feedback.get_by_text("still for 10 s – done")).to_be_visible()
    page.evaluate(axe.read_text(encoding="utf-8"))
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found = page.evaluate("axe.run().then(r => r.violations)")
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    page.get_by_role("button", name="Done: see the result").click()
    result = page.locator("#sensor-result")
    expect(result).to_contain_text("gyro bias")
    assert setup.read_bytes() == before  # until it is asked for, nothing is written
    page.get_by_role("button", name="Write it into bow.toml").click()
    expect(result).to_contain_text("Written.")
    expect(result).to_contain_text("bow.toml.before-1")
    expect(result).to_contain_text("kept in the store too")
    expect(page.locator("#sensor-kept li")).to_contain_text("lying still")
    assert str(tmp_path) not in page.content()  # no path of the machine
    assert (tmp_path / "bow.toml.before-1").read_bytes() == before
    assert read_setup(setup).sensor.gyro_bias_rad_s is not None
    rows = page.locator("#sensor-recordings tbody tr")
    expect(rows).to_have_count(2)
    expect(rows.first).to_contain_text("_still.qhr")
    expect(page.locator("#sensor-recordings").get_by_text("whole")).to_have_count(2)
    expect(page.get_by_role("button", name="Start recording")).to_be_enabled()


def test_without_a_recorder_it_says_how_to_get_one(
    open_page: Any, fresh_address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path))
    page = open_page(fresh_address, "/sensor")
    page.get_by_text("quiethand live --setup bow.toml").wait_for()
    expect(page.get_by_role("button", name="Start recording")).to_be_disabled()
    page.get_by_role("radio", name="Inertia").click()
    page.get_by_label("Length of each cord").wait_for()
    page.get_by_text("No recording yet").wait_for()
