"""The set-up's page: versions from a day on, units either way, limits that the flags follow, input that is refused."""

from __future__ import annotations

import json
from datetime import UTC

import pytest
from invented_league import document, league
from quiethand.errors import InputError
from quiethand.store.store import Store
from quiethand_dashboard.callbacks import latest
from quiethand_dashboard.callbacks.setup import limits_table, save_version, set_limit, stated, who_data
from quiethand_dashboard.stated_setup import FORM, document_of, shown

WHO = "archer=Lane+4&bow=Winter+bow"


def form(doc: dict[str, object], units: str) -> dict[tuple[str, str], str]:
    return {(f.table, f.key): shown(doc, f, units) for f in FORM}  # type: ignore[arg-type]


@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_a_form_that_nobody_touched_changes_nothing(units: str) -> None:
    before = document(4, "Match arrow")
    after = document_of(before, form(before, units), "Lane 4", "Winter bow", units)  # type: ignore[arg-type]
    assert after == before


def test_units_are_shown_as_chosen() -> None:
    doc = document(4, "Match arrow")
    # 28.5 in x 2.54; 50 lbf x 4.4482216; 370 grain x 64.79891 mg: exact by definition
    metric, imperial = form(doc, "metric"), form(doc, "imperial")
    assert metric["bow", "draw_length"] == "72.39 cm"
    assert metric["bow", "peak_weight"] == "222.41 N"
    assert metric["arrow", "mass"] == "23.976 g"
    assert imperial["bow", "draw_length"] == "28.5 in"
    assert imperial["target", "distance"] == "19.685 yd"


def test_a_version_holds_from_its_day_and_old_shots_keep_theirs(fresh: Store) -> None:
    league(fresh, evenings=1, shots=2)
    before = stated(fresh, WHO)
    texts = form(dict(before), "metric") | {("arrow", "mass"): "26 g"}
    shots = [fresh.setup_document(s.setup_id) for s in fresh.latest_shots(8)]
    told = save_version(fresh, WHO, "Lane 4", "Winter bow", texts, "metric", "2026-12-02", "heavier points")
    assert told == "Saved for Lane 4 with Winter bow from 2 Dec 2026 on."
    later = fresh.setup_in_force("Lane 4", "Winter bow", "2026-12-03")
    assert later is not None
    assert later.document["arrow"]["mass"] == "26 g"
    assert fresh.setup_in_force("Lane 4", "Winter bow", "2026-12-01") is None
    assert [fresh.setup_document(s.setup_id) for s in fresh.latest_shots(8)] == shots
    save_version(fresh, "new", "Lane 9", "Spring bow", texts, "metric", "", "")
    assert "Lane 9, Spring bow" in [one["label"] for one in who_data(fresh)]


@pytest.mark.parametrize(
    "changed",
    [{("bow", "draw_length"): "28.5"}, {("arrow", "mass"): "<script>"}, {("bow", "let_off"): "much"},
     {("bow", "brace_height"): "../../etc"}, {("target", "distance"): "-3 m"}],
)  # fmt: skip
def test_what_is_no_quantity_is_refused_in_one_line(fresh: Store, changed: dict[tuple[str, str], str]) -> None:
    texts = form(document(4, "Match arrow"), "metric") | changed
    with pytest.raises(InputError) as refused:
        save_version(fresh, "new", "Lane 4", "Winter bow", texts, "metric", "", "")
    assert "\n" not in str(refused.value)
    assert fresh.setup_versions() == []


def test_a_limit_that_is_changed_is_followed_by_the_flags(fresh: Store) -> None:
    league(fresh, evenings=1, shots=3)
    newest = fresh.latest_shots(1, archer="Lane 4")[0].id

    def flags() -> str:
        return json.dumps(latest.latest_text(fresh, newest, UTC).flags, default=lambda c: c.to_plotly_json())

    assert "over the limit of 5 ms" not in flags()
    assert "5 ms" in set_limit(fresh, WHO, "time_on_string", 5, "2026-11-01", lift=False)
    assert "over the limit of 5 ms" in flags()
    assert "time on the string" in json.dumps(limits_table(fresh, WHO), default=lambda c: c.to_plotly_json())
    set_limit(fresh, WHO, "time_on_string", None, "2026-11-01", lift=True)
    assert "over the limit of 5 ms" not in flags()
    for who, value in ((None, 5), ("new", 5), (WHO, None), (WHO, -1), (WHO, float("nan"))):
        with pytest.raises(InputError):
            set_limit(fresh, who, "time_on_string", value, "", lift=False)
    with pytest.raises(InputError, match="no day"):
        set_limit(fresh, WHO, "time_on_string", 5, "soon", lift=False)
