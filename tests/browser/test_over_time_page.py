"""Over time: chosen by hand, kept by the address, opened again; new shots come by themselves."""

from __future__ import annotations

from typing import Any

import numpy as np
from browser_page import drawn
from invented_league import EVENING, add, document, recording, shot
from playwright.sync_api import expect
from quiethand.store.store import Store
from quiethand_dashboard import ids


def test_a_chart_is_chosen_kept_and_opened_again(open_page: Any, league_address: str) -> None:
    page = open_page(league_address, "/over-time")
    drawn(page, ids.OVER_FIGURE)
    page.get_by_text("The first 16 shots, on average").wait_for()
    page.get_by_role("textbox", name="Measure").click()
    page.get_by_role("option", name="Time on the string").click()
    page.wait_for_url("**measure=time_on_string_s**")
    page.get_by_role("textbox", name="Archer, bow and arrow").click()
    page.get_by_role("option", name="Lane 7, Winter bow, Heavy").click()
    page.wait_for_url("**Heavy**")
    expect(page.locator(f"#{ids.OVER_WORDS}")).to_contain_text(" ms")
    page.get_by_role("radio", name="day by day").check()
    page.get_by_text("2 days so far").wait_for()

    again = open_page(league_address, page.url.removeprefix(league_address))
    again.get_by_text("2 days so far").wait_for()
    expect(again.get_by_role("textbox", name="Measure")).to_have_value("Time on the string")
    expect(again.get_by_role("textbox", name="Archer, bow and arrow")).to_have_value(
        "Lane 7, Winter bow, Heavy practice arrow (16 shots)"
    )
    assert again.get_by_role("radio", name="day by day").is_checked()
    with again.expect_download() as saved:
        again.get_by_role("button", name="Save points as CSV").click()
    assert len(open(saved.value.path(), encoding="utf-8").read().splitlines()) == 3  # noqa: SIM115


def test_it_begins_empty_and_takes_shots_as_they_come(open_page: Any, fresh_address: str, fresh_store: Store) -> None:
    page = open_page(fresh_address, "/over-time")
    page.get_by_role("heading", name="Nothing to follow over time yet").wait_for()
    doc = document(4, "Match arrow")
    to = recording(fresh_store, 4, "Match arrow", EVENING, doc)
    rng = np.random.default_rng(1)
    for number in range(1, 12):
        add(fresh_store, to, shot(number, "Match arrow", rng), EVENING, doc)
    page.get_by_text("The first 11 shots, on average").wait_for()
    drawn(page, ids.OVER_FIGURE)
