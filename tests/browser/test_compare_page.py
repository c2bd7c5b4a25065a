"""Comparing: chosen by hand, kept by the address, opened again."""

from __future__ import annotations

from typing import Any

from browser_page import drawn
from playwright.sync_api import expect
from quiethand.store.store import Store
from quiethand_dashboard import ids

GRAPH = ids.trace_graph("compare", "yaw")
SELECTED = ".ag-center-cols-container .ag-row-selected"


def tick(page: Any, row: int) -> None:
    page.locator(f".ag-center-cols-container [row-index='{row}']").click()


def lines(page: Any) -> set[str]:
    names = page.evaluate(
        f"document.querySelector('#{ids.trace_graph('compare', 'yaw')} .js-plotly-plot').data.map(t => t.name)"
    )
    return {name[0] for name in names if name[1:2] == ","}


def test_a_comparison_is_made_kept_and_opened_again(open_page: Any, league_address: str, league_store: Store) -> None:
    page = open_page(league_address, "/compare")
    page.get_by_text("No shot is chosen yet.").wait_for()
    page.get_by_label("Arrow Filter Input").fill("heavy")
    expect(page.locator(".ag-center-cols-container")).not_to_contain_text("Match")
    tick(page, 0)
    page.wait_for_url("**/compare?shots=*")
    tick(page, 3)
    page.wait_for_url("**/compare?shots=*,*")
    page.get_by_role("columnheader", name="B less A").wait_for()
    drawn(page, GRAPH)
    assert lines(page) == {"A", "B"}
    heavy = [s.id for s in league_store.latest_shots(20, arrow="Heavy practice arrow")]
    assert page.url.endswith(f"?shots={heavy[0]},{heavy[3]}")

    again = open_page(league_address, page.url.removeprefix(league_address))
    again.get_by_role("columnheader", name="B less A").wait_for()
    drawn(again, GRAPH)
    assert lines(again) == {"A", "B"}
    expect(again.locator(SELECTED)).to_have_count(2)
    assert again.locator(f"#{ids.COMPARE_TABLE}").inner_text() == page.locator(f"#{ids.COMPARE_TABLE}").inner_text()

    again.get_by_role("button", name="Choose none").click()
    again.get_by_text("No shot is chosen yet.").wait_for()
    assert "?" not in again.url
    expect(again.locator(SELECTED)).to_have_count(0)
    again.go_back()
    expect(again.locator(SELECTED)).to_have_count(2)


def test_excess_within_the_window_is_told(open_page: Any, league_address: str, league_store: Store) -> None:
    # the fifth shot of each session carries a fault of its own
    shots = league_store.latest_shots(20, arrow="Heavy practice arrow", archer="Lane 4")
    faulty = next(s for s in shots if s.number == 5)
    page = open_page(league_address, f"/compare?shots={faulty.id}")
    page.get_by_text("yaw torque outside the usual").wait_for()


def test_figures_and_their_data_can_be_saved(open_page: Any, league_address: str, league_store: Store) -> None:
    a, b = (s.id for s in league_store.latest_shots(2))
    page = open_page(league_address, f"/compare?shots={a},{b}")
    drawn(page, GRAPH)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save figures as CSV").click()
    text = open(saved.value.path(), encoding="utf-8").read()  # noqa: SIM115
    assert len(text.splitlines()) == 3
    for kind, start in (("SVG", b"<svg"), ("PNG", b"\x89PNG")):
        with page.expect_download() as saved:
            page.get_by_role("button", name=f"Save traces of yaw as {kind}").click()
        with open(saved.value.path(), "rb") as file:
            assert file.read(200).lstrip().startswith(start)
        assert saved.value.suggested_filename.startswith("quiethand-")
