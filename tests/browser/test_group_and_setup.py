"""An impact is tapped on the face; a limit is changed and the flags follow."""

from __future__ import annotations

from typing import Any

from browser_page import drawn
from invented_league import league
from playwright.sync_api import expect
from quiethand.store.store import Store
from quiethand_dashboard import ids


def test_an_impact_is_tapped_and_a_limit_is_followed(open_page: Any, fresh_address: str, fresh_store: Store) -> None:
    league(fresh_store, evenings=1, shots=3)
    page = open_page(fresh_address, "/group?archer=Lane+4&arrow=Match+arrow", width=820, height=1180)
    drawn(page, ids.GROUP_FACE)
    face = page.locator(f"#{ids.GROUP_FACE} .js-plotly-plot")
    expect(page.locator(f"#{ids.GROUP_SHOT}")).to_have_value("shot 1, 21:00, 1 Dec")
    box = face.bounding_box()
    face.click(position={"x": box["width"] * 0.6, "y": box["height"] * 0.5})
    page.get_by_text("Shot 1: ").wait_for()
    expect(page.locator(f"#{ids.GROUP_SHOT}")).to_have_value("shot 2, 21:01, 1 Dec")
    (impact,) = fresh_store.impacts()
    # a tenth of the picture is a fifth of the face's radius of 200 mm, with the room around it
    assert 35 < impact.right_mm < 50
    assert abs(impact.up_mm) < 3
    assert impact.source == "tapped"
    page.get_by_role("button", name="Take the last one back").click()
    page.get_by_text("Took back").wait_for()
    assert fresh_store.impacts() == []

    page.goto(fresh_address + "/set-up")
    expect(page.locator(f"#{ids.setup_field('bow', 'draw_length')}")).to_have_value("72.39 cm")
    page.get_by_label("Limit", exact=True).fill("1")
    page.locator(f"#{ids.LIMIT_FROM}").fill("2026-11-01")
    page.get_by_role("button", name="Set the limit").click()
    page.get_by_text("Set: pointing shift at the target").wait_for()
    page.get_by_role("link", name="See how the last shots stand").click()
    page.get_by_text("over the limit of 1 mm").first.wait_for()
