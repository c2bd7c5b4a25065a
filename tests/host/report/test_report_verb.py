"""`quiethand report` as a person runs it, on an invented league: what the page holds, and what is refused."""

from __future__ import annotations

import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from absent import need
from command_line import refused, run
from invented_league import EVENING, add, document, league, recording, shot
from quiethand.store import NewImpact, ShotFilter, open_store

SPITEFUL = '<script>alert("x")</script> & "Match" <b>arrow</b>'


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lanes 4 and 7, with impacts of lane 4 and one shot of it excluded; and an archer whose names are markup."""
    path = tmp_path_factory.mktemp("league") / "league.db"
    store = open_store(f"sqlite:///{path}")
    league(store)
    rows = store.shot_rows(ShotFilter(archer="Lane 4", arrow="Match arrow"))
    rng = np.random.default_rng(1)
    drawn = rng.normal(0, 12, (len(rows), 2)).tolist()
    store.add_impacts([NewImpact(x, y, shot_id=row["id"]) for (x, y), row in zip(drawn, rows, strict=True)])
    store.exclude([rows[-1]["id"]], "a cough")  # the first evening's
    doc = document(4, "Match arrow")
    doc["archer"]["name"], doc["arrow"]["name"] = SPITEFUL, SPITEFUL
    to = recording(store, 9, "Match arrow", EVENING, doc)
    for number in range(1, 4):
        add(store, to, shot(number, "Match arrow", rng), EVENING, doc)
    store.close()
    return path


@pytest.fixture
def url(kept: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copy(kept, tmp_path)}"


class Page(HTMLParser):
    """The elements, their attributes and the words of a page, by the standard library's parser."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.words = ""
        self.feed(text)
        self.words = " ".join(self.words.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.words += data


def test_the_page_holds_what_it_says_and_needs_nothing_from_outside(
    capsys: pytest.CaptureFixture[str], url: str, tmp_path: Path
) -> None:
    out = tmp_path / "lane.html"
    ran = run(capsys, "report", "--archer", "Lane 4", "--out", out, "--store", url)
    assert ran.status == 0, ran.err
    assert "53 shots of Lane 4" in ran.out  # 3 evenings of 2 arrows and 9 shots, less the one excluded
    text = out.read_text(encoding="utf-8")
    page = Page(text)
    assert not {"script", "link", "img", "iframe", "object", "embed"} & set(page.tags)
    assert not [name for name, _ in page.attributes if name in ("src", "href") or name.startswith("on")]
    assert "url(" not in text
    assert page.tags.count("svg") == 4  # yaw, pitch, where the turn came from, impacts
    for words in (
        "17 November to 1 December 2026", "53 shots on 3 days", "1 shot left out because someone excluded them",
        "What is usual", "What changed", "Where the arrows hit", "Never shoot without an arrow on the string",
    ):  # fmt: skip
        assert words in page.words
    assert "Lane 7" not in page.words
    # the league's heavy arrow stays 17.2 ms on the string, each time scattered by 0.1 ms
    shown = re.search(r"time on the string\s+(\d+\.\d+) ms", page.words)
    assert shown is not None
    assert float(shown[1]) == pytest.approx(17.2, abs=0.1)


def test_a_span_of_days_holds_only_these(capsys: pytest.CaptureFixture[str], url: str) -> None:
    asked = ("report", "--archer", "Lane 4", "--since", "2026-12-01", "--out", "-", "--store", url)
    page = Page(run(capsys, *asked).out)
    assert "18 shots on 1 day with Winter bow" in page.words
    assert "17 shots before, from 17 November 2026 on" in page.words


def test_names_stay_text(capsys: pytest.CaptureFixture[str], url: str) -> None:
    ran = run(capsys, "report", "--archer", SPITEFUL, "--out", "-", "--store", url)
    assert ran.status == 0, ran.err
    page = Page(ran.out)
    assert not {"script", "b"} & set(page.tags)
    assert page.words.count(SPITEFUL) >= 2  # as archer and as arrow


def test_a_file_is_not_overwritten_unasked(capsys: pytest.CaptureFixture[str], url: str, tmp_path: Path) -> None:
    out = tmp_path / "lane.html"
    out.write_text("mine", encoding="utf-8")
    asked = ("report", "--archer", "Lane 7", "--out", out, "--store", url)
    assert "lane.html" in refused(run(capsys, *asked))
    assert out.read_text(encoding="utf-8") == "mine"
    assert run(capsys, *asked, "--force").status == 0
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (("--archer", "Nobody"), "Nobody"), ((), "--archer"),
        (("--archer", "Lane 4", "--since", "2027-01-01"), "no shot of Lane 4"),
    ],
)  # fmt: skip
def test_refused_in_a_line(
    capsys: pytest.CaptureFixture[str], url: str, tmp_path: Path, asked: tuple[str, ...], words: str
) -> None:
    out = tmp_path / "none.html"
    assert words in refused(run(capsys, "report", *asked, "--out", out, "--store", url))
    assert not out.exists()


def test_two_a4_pages_at_most_and_no_scrolling_sideways(
    capsys: pytest.CaptureFixture[str], url: str, tmp_path: Path
) -> None:
    from playwright.sync_api import sync_playwright

    out = tmp_path / "lane.html"
    assert run(capsys, "report", "--archer", "Lane 4", "--out", out, "--store", url).status == 0
    chromium = need("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-dev-shm-usage"])
        page = browser.new_page(viewport={"width": 390, "height": 800})
        page.goto(out.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        printed = page.pdf(prefer_css_page_size=True)
        browser.close()
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 2
