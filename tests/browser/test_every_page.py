"""Every page: accessible in dark and light, no wider than the screen, printable, reached by keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser_page import rested
from playwright.sync_api import expect
from quiethand.store.store import Store
from quiethand_dashboard.app import PAGES


def address_of(path: str, store: Store) -> str:
    """A page with something on it."""
    shots = [str(s.id) for s in store.latest_shots(2)]
    return path + {"/compare": f"?shots={','.join(shots)}", "/shot": f"?shot={shots[0]}"}.get(path, "")


SIZES = ((820, 1180), (390, 844), (1440, 900))


@pytest.mark.parametrize("path", [page.path for page, _ in PAGES])
def test_each_page_fits_every_screen_and_can_be_read_by_all(
    open_page: Any, league_address: str, league_store: Store, axe: Path, path: str
) -> None:
    page = open_page(league_address, address_of(path, league_store))
    rested(page)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        rested(page)
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    # evaluated and not added as a tag: the page's own policy lets no script in
    page.evaluate(axe.read_text(encoding="utf-8"))
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        ground = {"light": "rgb(255, 255, 255)", "dark": "rgb(21, 25, 29)"}[scheme]
        expect(page.locator("body")).to_have_css("background-color", ground)
        page.wait_for_function(
            "ground => [...document.querySelectorAll('.dash-graph .main-svg:first-child')].filter(s => s.clientWidth)"
            ".every(s => getComputedStyle(s).backgroundColor === ground)",
            arg=ground,
        )
        assert serious(page.evaluate("axe.run().then(r => r.violations)")) == []


def serious(violations: list[dict[str, Any]]) -> list[str]:
    return [
        f"{v['impact']}: {v['id']}, {v['help']}: " + "; ".join(n["html"][:200] for n in v["nodes"][:4])
        for v in violations
        if v["impact"] in ("serious", "critical")
    ]


def test_the_pages_are_walked_by_keyboard_and_link(open_page: Any, league_address: str) -> None:
    page = open_page(league_address)
    page.get_by_role("link", name="Latest").wait_for()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    for name, heading in (("Over time", "Over time"), ("Compare", "Compare shots"), ("Bow and arrow", "Bow and arrow")):
        page.get_by_role("link", name=name, exact=True).focus()
        page.keyboard.press("Enter")
        page.get_by_role("heading", name=heading, level=1).wait_for()
        expect(page.locator(".page-link[aria-current=page]")).to_have_text(name)
        expect(page).to_have_title(f"{name} – Quiethand")
    page.go_back()
    page.get_by_role("heading", name="Compare shots").wait_for()


def test_on_a_narrow_screen_the_pages_are_in_a_menu(open_page: Any, league_address: str) -> None:
    page = open_page(league_address, width=390, height=844)
    menu = page.get_by_role("button", name="Pages, now Latest")
    menu.focus()
    page.keyboard.press("Enter")
    item = page.get_by_role("menuitem", name="Latest")
    expect(item).to_have_attribute("aria-current", "page")
    assert page.get_by_role("menuitem").all_inner_texts() == [page.name for page, _ in PAGES if not page.under]
    page.keyboard.press("Escape")
    expect(item).to_have_count(0)
    expect(menu).to_be_focused()
    page.keyboard.press("Enter")
    item.wait_for()
    for name in ("Latest", "Compare"):
        page.keyboard.press("ArrowDown")
        expect(page.get_by_role("menuitem", name=name)).to_be_focused()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Compare shots").wait_for()
    page.get_by_role("button", name="Pages, now Compare").wait_for()


def test_an_address_without_a_page_says_where_the_pages_are(open_page: Any, league_address: str) -> None:
    page = open_page(league_address, "/nowhere")
    page.get_by_role("heading", name="There is no page here").wait_for()
    page.get_by_role("link", name="To the latest shot").click()
    page.get_by_text("Shot 8", exact=True).wait_for()


def test_dark_and_light_are_a_choice_that_is_kept(open_page: Any, league_address: str) -> None:
    page = open_page(league_address)
    rested(page)
    page.get_by_role("button", name="Dark or light page").click()
    expect(page.locator("body")).to_have_css("background-color", "rgb(21, 25, 29)")
    expect(page.locator("#latest-traces-yaw .main-svg").first).to_have_css("background-color", "rgb(21, 25, 29)")
    page.reload()
    rested(page)
    expect(page.locator("body")).to_have_css("background-color", "rgb(21, 25, 29)")
    page.evaluate("localStorage.clear()")


def test_print_leaves_out_what_paper_cannot_use(open_page: Any, league_address: str) -> None:
    page = open_page(league_address)
    rested(page)
    page.emulate_media(media="print")
    assert not page.get_by_role("navigation").is_visible()
    assert page.locator(".save-row").first.is_hidden()
    assert page.get_by_text("Time on the string").first.is_visible()
