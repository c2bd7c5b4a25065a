"""Losses from speeds or times, arrows against each other, and a plan that holds what the figures show."""

from __future__ import annotations

import math

import numpy as np
import pytest
from invented_league import document
from quiethand.axes import Axes
from quiethand.bow.launch import launch
from quiethand.bow.setup_file import setup_from_document
from quiethand.errors import InputError
from quiethand.judge.habit import parts_of_set
from quiethand.judge.lock_time import Observed, arrow_time, fit_losses, losses_of, variants
from quiethand.judge.plan import Evidence, plan, plan_words
from quiethand.judge.slow_arrow import held_against, held_words, torque_set


def test_a_published_recurve_s_losses_are_found_again() -> None:
    """A published test of a 35 lb recurve: K = 5.7697 g + 0.0583 m, 43.00 J, 56.5048 m/s at 20 g, 51.6580 at 25 g."""
    found = fit_losses([Observed(0.020, 56.5048, sigma=0.05), Observed(0.025, 51.6580, sigma=0.05)], 43.00, 1.0)
    assert 1 / (1 - found.friction.value) == pytest.approx(1.0583, abs=2e-4)
    assert found.virtual_mass_kg.value / (1 - found.friction.value) == pytest.approx(5.7697e-3, abs=5e-6)
    assert found.efficiency[0].value == pytest.approx(0.5 * 0.020 * 56.5048**2 / 43.0, rel=1e-9)


@pytest.mark.parametrize(
    ("stored_j", "time_of_1_kg_s", "time_s", "speed_m_s"),
    [
        (100.0, math.sqrt(2 * 0.5 / 200), 12.24744871e-3, 81.6497),  # 200 N all the way
        (50.0, math.pi / 2 / math.sqrt(400), 13.60349523e-3, 57.7350),  # 200 N to 0
        (60.0, math.acosh(5) / math.sqrt(320), 22.19637420e-3, 63.2456),  # 40 N to 200: a let-off
    ],
)
def test_forces_with_a_closed_form_give_the_moving_mass_back(
    stored_j: float, time_of_1_kg_s: float, time_s: float, speed_m_s: float
) -> None:
    """Half a metre under a straight line of force, 30 g moving, solved as an oscillator: 25 g arrow, so K is 5 g."""
    by_time = fit_losses([Observed(0.025, time_on_string_s=time_s, sigma=1e-6)], stored_j, time_of_1_kg_s, friction=0.0)
    assert by_time.virtual_mass_kg.value == pytest.approx(0.005, abs=1e-9)
    by_speed = fit_losses([Observed(0.025, speed_m_s, sigma=0.01)], stored_j, time_of_1_kg_s, friction=0.0)
    assert by_speed.virtual_mass_kg.value == pytest.approx(0.005, abs=1e-7)
    assert by_speed.efficiency[0].value == pytest.approx(25 / 30, rel=1e-5)


def test_intervals_cover_and_times_tell_the_same() -> None:
    rng = np.random.default_rng(1)
    inside = 0
    for _ in range(200):
        seen = [
            Observed(m, time_on_string_s=float(0.08 * math.sqrt((m + 0.005) / 0.9) + rng.normal(0, 2e-5)), sigma=2e-5)
            for m in (0.018, 0.022, 0.026, 0.032)
        ]
        k = fit_losses(seen, 50.0, 0.08).virtual_mass_kg
        inside += k.low <= 0.005 <= k.high
    assert 0.90 <= inside / 200 <= 1.0


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        ([Observed(0.02, 56.0, sigma=0.1)], "tell virtual mass and friction apart"),
        ([Observed(0.02, 56.0), Observed(0.03, 50.0)], "without their uncertainty"),
        ([Observed(0.0200, 56.5, sigma=0.5), Observed(0.0205, 56.1, sigma=0.5)], "virtual mass to plus or minus"),
        ([], "no speed and no time"),
        ([Observed(0.02, None, None, 0.1)], "needs an arrow's mass"),
    ],
)  # fmt: skip
def test_what_does_not_determine_the_losses_is_refused_in_a_line(seen: list[Observed], words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        fit_losses(seen, 43.0, 1.0)
    assert "\n" not in str(refused.value)


def test_a_set_up_s_own_losses_come_back_from_the_times_it_models() -> None:
    """Against the launch model, which is held to closed forms elsewhere: what it was told is found again."""
    setup = setup_from_document(document(4, "Match arrow"), "test")
    masses = (0.022, 0.027, 0.034)
    modelled = [launch(setup, arrow_mass_kg=m) for m in masses]
    seen = [
        Observed(m, time_on_string_s=run.time_on_string_s, sigma=1e-5) for m, run in zip(masses, modelled, strict=True)
    ]
    found = losses_of(setup, seen)
    for efficiency, run in zip(found.efficiency, modelled, strict=True):
        assert efficiency.value == pytest.approx(run.efficiency, rel=1e-3)
    assert max(abs(r) for r in found.residuals) < 1e-6
    one = arrow_time(setup, [modelled[1].time_on_string_s + d for d in (-1e-4, 0, 1e-4, 0, 0)], arrow_mass_kg=masses[1])
    assert one.difference_s == pytest.approx(0.0, abs=1e-9)
    assert arrow_time(setup, [0.014, None, math.nan]).measured_s is None
    slow, slower = variants(setup, [0.034], [0.75, 0.9])
    assert slower.let_off == pytest.approx(0.9)
    assert slower.valley_s > slow.valley_s > variants(setup, [0.022], [None])[0].valley_s


def test_the_same_hand_shows_more_with_the_slow_arrow() -> None:
    rng = np.random.default_rng(2)
    quick = torque_set(
        "Match", rng.normal([0, -0.2, 0.3], 0.05, (20, 3)), None, time_on_string_s=0.0146,
        sensitivity_mm_per_nm=Axes(pitch=6.0, yaw=10.0),
    )  # fmt: skip
    slow = torque_set(
        "Heavy", rng.normal([0, -0.2, 0.3], 0.05, (20, 3)), None, time_on_string_s=0.0172,
        sensitivity_mm_per_nm=Axes(pitch=8.3, yaw=13.9),
    )  # fmt: skip
    found = held_against(quick, slow)
    assert found.magnified == pytest.approx(1.39)
    assert not any(c.shown for c in found.torque)
    yaw = slow.axes[2]
    assert yaw.at_target_mm is not None
    assert yaw.at_target_mm.value == pytest.approx(-13.9 * yaw.torque_nm.value)
    assert any("no difference is shown" in line for line in held_words(found))
    with pytest.raises(InputError, match="fewer than 5 shots show a torque"):
        torque_set("x", np.full((9, 3), np.nan), None, time_on_string_s=0.01, sensitivity_mm_per_nm=Axes())


def test_a_plan_holds_what_is_shown_and_nothing_else() -> None:
    rng = np.random.default_rng(3)
    quiet = [rng.normal(0, 0.001, (20, 3)) for _ in range(3)]
    assert plan(Evidence(parts=parts_of_set(*quiet), distance_m=18.0)) == ()
    assert "Nothing in these shots" in plan_words(())[0]
    quiet[2] = quiet[2] + [0, -0.1, 0.05]
    items = plan(Evidence(parts=parts_of_set(*quiet), distance_m=18.0))
    assert [item.point for item in items] == [
        "the bow hand presses while the arrow is on the string (yaw), shot after shot"
    ]  # every bow pitches as the string leaves: no habit
    assert items[0].at_target_mm == pytest.approx(15.7, abs=0.5)  # 0.05 deg at 18 m
    assert "left" in items[0].evidence[0]
