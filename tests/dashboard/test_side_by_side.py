"""The comparison's table and its CSV."""

from __future__ import annotations

import csv
import io

import pytest
from quiethand_dashboard.figures.side_by_side import csv_text, rows


def measures(time_s: float, time_sigma_s: float, yaw_deg: float, yaw_sigma_deg: float) -> dict[str, float | None]:
    return {
        "time_on_string_s": time_s,
        "time_on_string_sigma_s": time_sigma_s,
        "rotation_yaw_deg": yaw_deg,
        "rotation_sigma_yaw_deg": yaw_sigma_deg,
    }


A = measures(0.0150, 0.0003, 0.10, 0.03)
B = measures(0.0162, 0.0004, -0.02, 0.04)


def test_cells_have_units_words_and_uncertainty() -> None:
    table = {row.words: row for row in rows([A, B])}
    assert table["Time on the string"].cells == ("15.0 ± 0.3 ms", "16.2 ± 0.4 ms")
    assert table["Rotation at departure, yaw"].cells == ("0.10 deg left ± 0.03", "0.02 deg right ± 0.04")


def test_a_difference_has_the_root_of_the_sum_of_squares() -> None:
    table = {row.words: row for row in rows([A, B])}
    # GUM (JCGM 100) 5.1.2, independent: 0.3 and 0.4 give 0.5
    assert table["Time on the string"].difference == "+1.2 ± 0.5 ms"
    assert table["Rotation at departure, yaw"].difference == "0.12 deg right ± 0.05"


def test_what_no_shot_has_makes_no_row_and_three_shots_no_difference() -> None:
    assert len(rows([A, B])) == 2
    assert all(row.difference == "" for row in rows([A, B, A]))
    assert rows([A, {}])[0].cells == ("15.0 ± 0.3 ms", "–")
    assert rows([A, {}])[0].difference == ""
    assert rows([{}, {}]) == []


@pytest.mark.parametrize("label", ["=1+1", "@x", "-2", "+3", "\tx"])
def test_no_label_becomes_a_formula(label: str) -> None:
    text = csv_text([label], [A], ["time_on_string_s", "missing"])
    header, line = csv.reader(io.StringIO(text))
    assert header == ["shot", "time_on_string_s", "missing"]
    assert line == ["'" + label, "0.015", ""]
