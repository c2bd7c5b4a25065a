"""The group's page: impacts tapped, typed, imported and taken back; what is told of them; files that are refused."""

from __future__ import annotations

import base64
import json
from datetime import UTC

import numpy as np
import plotly.graph_objects as go
import pytest
from invented_league import league
from quiethand.errors import InputError
from quiethand.store.store import Store
from quiethand_dashboard.callbacks.group import chosen, csv_text, group_view, look_up
from quiethand_dashboard.callbacks.group_entry import import_impacts, place, take_back
from quiethand_dashboard.impacts_file import read_impacts, uploaded_text


@pytest.fixture
def shots(fresh: Store) -> list[tuple[int, int]]:
    league(fresh, evenings=1, shots=6)
    choice = chosen(fresh, "?archer=Lane+4&arrow=Match+arrow")
    assert choice is not None
    return [(s["id"], s["number"]) for s in look_up(fresh, choice).shots]


def sent(text: str) -> str:
    return "data:text/csv;base64," + base64.b64encode(text.encode()).decode()


SEARCH = "?archer=Lane+4&arrow=Match+arrow"


def test_taps_go_to_one_shot_after_the_other_however_quick(fresh: Store, shots: list[tuple[int, int]]) -> None:
    assert [number for _, number in shots] == [1, 2, 3, 4, 5, 6]
    first = str(shots[0][0])
    for step in range(3):  # the page still names the first as next
        told = place(fresh, "Lane 4", shots, first, 10.0 * step, -5.0, 5.5, "40 cm", tapped=True)
        assert told == f"Shot {step + 1}: {10.0 * step:.1f} mm{' right' if step else ''}, 5.0 mm low."
    view = group_view(fresh, SEARCH, "light", UTC)
    assert view.next_shot == str(shots[3][0])
    go.Figure(view.face)
    with pytest.raises(InputError, match="has an impact already"):
        place(fresh, "Lane 4", shots, first, 1.0, 1.0, None, "40 cm", tapped=False)
    assert take_back(fresh, "Lane 4") == "Took back 20.0 mm right, 5.0 mm low."
    assert group_view(fresh, SEARCH, "light", UTC).next_shot == str(shots[2][0])


@pytest.mark.parametrize(("right", "up"), [(None, 1.0), ("x", 1.0), (float("nan"), 0.0), (1e9, 0.0)])
def test_a_place_that_is_none_is_refused(fresh: Store, shots: list[tuple[int, int]], right: object, up: object) -> None:
    with pytest.raises(InputError):
        place(fresh, "Lane 4", shots, str(shots[0][0]), right, up, None, "40 cm", tapped=False)
    assert fresh.impacts() == []


def test_a_file_in_order_is_joined_and_the_group_is_told(fresh: Store, shots: list[tuple[int, int]]) -> None:
    places = [(12, 3), (-8, 15), (4, -22), (30, 6), (-15, -4), (2, 9)]
    text = "right_mm;up_mm\n" + "\n".join(f"{x},5;{y}" for x, y in places)  # a decimal comma, as some write it
    assert import_impacts(fresh, "Lane 4", shots, sent(text), "40 cm") == (
        "Imported 6 impacts, 6 of them joined to their shots."
    )
    view = group_view(fresh, SEARCH, "dark", UTC)
    said = json.dumps([view.words, view.explained], default=lambda c: c.to_plotly_json())
    assert "The centre of 6 impacts" in said
    assert "points with 6 arrows on the 40 cm face" in said
    assert "fewer than 20" in said
    cross = [t for t in view.face["data"] if "centre" in t["meta"]["series"]]
    assert np.mean(cross[0]["x"]) == pytest.approx(np.mean([abs(x) * np.sign(x) + 0.5 * np.sign(x) for x, _ in places]))
    choice = chosen(fresh, SEARCH)
    assert choice is not None
    assert len(csv_text(look_up(fresh, choice)).splitlines()) == 7


def test_a_file_by_number_and_one_that_names_no_shot(fresh: Store, shots: list[tuple[int, int]]) -> None:
    import_impacts(fresh, "Lane 4", shots, sent("shot,right_in,up_in\n3,1,0\n,0,2\n"), "40 cm")
    by_shot = {i.shot_id: i for i in fresh.impacts()}
    assert by_shot[shots[2][0]].right_mm == pytest.approx(25.4)
    assert by_shot[None].up_mm == pytest.approx(50.8)
    with pytest.raises(InputError, match="shot 77"):
        import_impacts(fresh, "Lane 4", shots, sent("shot,right_mm,up_mm\n77,1,0\n"), "40 cm")
    assert len(fresh.impacts()) == 2


@pytest.mark.parametrize(
    "text",
    ["", "a,b\n1,2\n", "right_mm,up_mm\n", "right_mm,up_mm\n1,=cmd|x\n", "right_mm,up_mm\n1\n",
     "right_mm,up_mm\nnan,1\n", "\x00", "right_mm,up_mm\n" + "1,1\n" * 5001, '"'],
)  # fmt: skip
def test_a_file_that_is_none_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(InputError) as refused:
        read_impacts(text)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 300


@pytest.mark.parametrize("contents", ["", "data:text/csv;base64,***", "data:,x", sent("x") + "é"])
def test_an_upload_that_is_no_text_is_refused(contents: str) -> None:
    with pytest.raises(InputError) as refused:
        read_impacts(uploaded_text(contents))
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("search", ["?archer=../../etc/passwd", "?archer=Lane+4&from=x&to=%00", "?face=<script>"])
def test_any_address_is_answered(fresh: Store, shots: list[tuple[int, int]], search: str) -> None:
    assert group_view(fresh, search, "light", UTC).empty_hidden is True
