"""A shot in words: signs, digits as the uncertainty has them, where most of the turn came from."""

from __future__ import annotations

from datetime import UTC
from typing import Any

import pytest
from quiethand_dashboard import telling


def contract(rotation: dict[str, float | None], parts: dict[str, dict[str, float | None]], sigma: float = 0.003) -> Any:
    return {
        "at_departure": {
            "rotation_deg": rotation,
            "rotation_sigma_deg": dict.fromkeys(rotation, sigma),
            "parts_deg": parts,
        }
    }


NO_TURN: dict[str, float | None] = {"cant": 0.0, "pitch": 0.0, "yaw": 0.0}


@pytest.mark.parametrize(
    ("sigma", "digits"),
    [(0.19, 2), (0.2, 1), (0.0034, 3), (0.0016, 4), (1.2, 1), (3.0, 0), (30.0, 0), (1e-9, 4), (None, 2), (0.0, 2)],
)
def test_digits_follow_the_uncertainty(sigma: float | None, digits: int) -> None:
    # one digit of the uncertainty, two where its first is a 1: common practice, no source
    assert telling.digits_for(sigma, usual=2) == digits


def test_signs_are_words() -> None:
    assert telling.said_axis("yaw", 0.12).text == "0.12 deg left"
    assert telling.said_axis("yaw", -0.12, 0.003) == telling.Said("0.120", "deg right", "± 0.003")
    assert telling.said_axis("pitch", 0.3).text == "0.30 deg down"
    assert telling.said_axis("cant", -0.3).text == "0.30 deg top limb left"
    assert telling.said_axis("yaw", -0.0001, 0.02) == telling.Said("0.00", "deg", "± 0.02")  # a zero has no direction
    assert telling.said_shift("up", -4.1).text == "4.1 mm low"
    assert telling.said_shift("right", 4.14, 0.6).text == "4.1 mm right"


@pytest.mark.parametrize("value", [None, float("nan"), float("inf")])
def test_what_is_not_known_is_said_so(value: float | None) -> None:
    assert telling.said_axis("yaw", value).text == "– not known"
    assert telling.said_shift("up", value).text == "– not known"
    assert telling.said_window({"time_on_string_s": None}).text == "– not known"


def test_the_part_that_rules_is_named() -> None:
    parts = {
        "carried_in": {"cant": 0.0, "pitch": -0.01, "yaw": 0.09},
        "struck": {"cant": 0.0, "pitch": -0.01, "yaw": 0.01},
        "pressed": {"cant": 0.0, "pitch": -0.08, "yaw": 0.0},
    }
    told = telling.sentence(contract({"cant": 0.0, "pitch": -0.1, "yaw": 0.1}, parts))
    assert told == (
        "The bow turned left and up with the arrow on the string: sideways, it was turning already at the release; "
        "in height, a steady push in the hand did it."
    )


def test_a_turn_within_its_uncertainty_is_no_turn() -> None:
    parts = dict.fromkeys(("carried_in", "struck", "pressed"), NO_TURN)
    told = telling.sentence(contract({"cant": 0.5, "pitch": 0.004, "yaw": -0.005}, parts))
    assert "less than can be told" in told


def test_an_absent_rotation_is_not_guessed() -> None:
    parts = dict.fromkeys(("carried_in", "struck", "pressed"), NO_TURN)
    nothing = dict.fromkeys(NO_TURN)
    assert "not known" in telling.sentence(contract(nothing, parts))
    unknown = dict.fromkeys(("carried_in", "struck", "pressed"), nothing)
    assert "where it came from is not known" in telling.sentence(contract({"cant": 0, "pitch": 0, "yaw": 1.0}, unknown))


def test_each_verdict_has_a_mark_of_its_own_shape() -> None:
    verdicts = ("over", "too_close_to_tell", "unusual")
    marks = {telling.flag_mark(v)[0] for v in verdicts}
    assert len(marks) == 3
    assert telling.flag_marks([{"verdict": v} for v in reversed(verdicts)]) == "▲ ◇ ○"
    assert telling.flag_marks([]) == ""


def test_times_are_in_the_browsers_zone() -> None:
    moment = 1_796_148_000.0  # 1 December 2026, 18:00 UTC
    assert telling.clock_time(moment, UTC) == "18:00:00"
    assert telling.clock_time(moment, telling.zone_of("Europe/Helsinki")) == "20:00:00"
    assert telling.day_words(moment, telling.zone_of("Asia/Tokyo")) == "Wed 2 Dec 2026"


@pytest.mark.parametrize("name", [None, "", "Nowhere/Here", "../../etc/passwd", "/etc/localtime", "\0", "a" * 5000])
def test_a_zone_that_is_none_is_utc(name: str | None) -> None:
    assert telling.zone_of(name) is UTC
