"""Bow and arrow: sliders move figures and cautions."""

from __future__ import annotations

from typing import Any

from browser_page import drawn
from playwright.sync_api import expect
from quiethand_dashboard import ids


def first_figure(page: Any) -> Any:
    return page.locator(f"#{ids.LAUNCH_FIGURES} .number").first


def test_the_sliders_move_the_launch(open_page: Any, league_address: str) -> None:
    page = open_page(league_address, "/bow")
    drawn(page, ids.LAUNCH_STROKE)
    before = first_figure(page).inner_text()
    mass = page.get_by_role("slider", name="Arrow's mass")
    mass.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    expect(first_figure(page)).not_to_have_text(before)
    page.get_by_text("less than your set-up").first.wait_for()
    lighter = float(first_figure(page).inner_text())
    assert lighter < float(before)
    page.get_by_role("slider", name="Let-off").focus()
    for _ in range(12):
        page.keyboard.press("ArrowLeft")
    expect(first_figure(page)).not_to_have_text(f"{lighter:.1f}")
    assert float(first_figure(page).inner_text()) < lighter
    mass.focus()
    page.keyboard.press("Home")
    page.get_by_text("grains per pound of peak weight").wait_for()
    page.get_by_role("rowheader", name="as set here").wait_for()


def test_without_shots_it_can_be_tried_with_an_invented_bow(open_page: Any, fresh_address: str) -> None:
    page = open_page(fresh_address, "/bow")
    page.get_by_text("This bow is invented").wait_for()
    assert float(first_figure(page).inner_text()) > 5
