"""The launch model as a function: what it assumes, refuses, and how dear it is."""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from quiethand.axes import Axes
from quiethand.bow.curve import force_at, from_points
from quiethand.bow.launch import launch, motion_along
from quiethand.bow.model import Arrow, Bow, Setup, Target
from quiethand.errors import InputError
from scipy.integrate import solve_ivp

INCH_M = 0.0254


def measured(**bow: object) -> Setup:
    """An invented compound read every inch from 7 to 27 in."""
    y = np.linspace(0, 1, 21)
    rise, fall = 1 - (1 - np.clip(y / 0.4, 0, 1)) ** 2, np.clip((y - 0.6) / 0.4, 0, 1)
    force = 260 * rise * (1 - 0.8 * fall**2 * (3 - 2 * fall))
    curve = tuple(zip(((7 + 20 * y) * INCH_M).tolist(), force.tolist(), strict=True))
    stated = Bow(kind="compound", draw_force_curve=curve, virtual_mass_kg=0.006, friction=0.05)
    return Setup(bow=replace(stated, **bow), arrow=Arrow(mass_kg=0.0243))


def test_against_a_general_integrator() -> None:
    """The same motion by scipy's Runge-Kutta of order 8, started a little after release by the series of rest."""
    setup = measured()
    result = launch(setup)
    moving = (0.0243 + 0.006) / 0.95

    def motion(_: float, state: np.ndarray) -> list[float]:
        return [state[1], float(force_at(result.curve, np.array(result.curve.full_draw_m - state[0]))) / moving]

    def at_brace(_: float, state: np.ndarray) -> float:
        return float(state[0] - result.travel_m[-1])

    at_brace.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(motion, (0, 0.1), [0, 0], "DOP853", events=at_brace, rtol=1e-11, atol=1e-13, max_step=1e-4)
    assert result.time_on_string_s == pytest.approx(run.t_events[0][0], rel=1e-7)
    assert result.arrow_speed_m_s == pytest.approx(run.y_events[0][0][1], rel=1e-7)


@given(st.lists(st.floats(5.0, 400.0), min_size=3, max_size=25), st.floats(0.01, 0.06))
def test_time_travel_and_speed_belong_together(forces: list[float], moving_kg: float) -> None:
    """dx = v dt along the whole way, for any curve: the trapezoid over the steps comes to the travel."""
    position = 0.18 + INCH_M * np.arange(len(forces) + 1)
    time, travel, speed, force = motion_along(from_points(position, np.array([0.0, *forces])), moving_kg)
    assert (np.diff(time) > 0).all()
    assert (np.diff(travel) > 0).all()
    assert (force[:-1] > 0).all()
    assert travel[-1] == pytest.approx(position[-1] - position[0], rel=1e-12)
    assert np.trapezoid(speed, time) == pytest.approx(travel[-1], rel=2e-4)


def test_half_the_cells_give_the_same_time(monkeypatch: pytest.MonkeyPatch) -> None:
    fine = launch(measured())
    monkeypatch.setattr("quiethand.bow.launch.CELLS", 120)
    assert launch(measured()).time_on_string_s == pytest.approx(fine.time_on_string_s, rel=1e-9)


def test_it_is_cheap_enough_for_a_slider() -> None:
    setup = measured()
    launch(setup)
    spent = []
    for _ in range(20):
        start = perf_counter()
        launch(setup)
        spent.append(perf_counter() - start)
    assert min(spent) < 5e-3


def test_arrow_and_let_off_in_place_of_the_set_up_s() -> None:
    setup = measured()
    assert launch(setup, arrow_mass_kg=0.030).arrow_mass_kg == 0.030
    lighter = launch(setup, let_off=0.65)
    assert lighter.holding_weight_n == pytest.approx(0.35 * lighter.curve.peak_n)
    assert lighter.curve_from == "measured"
    assert any("stretched" in note for note in lighter.notes)
    assert lighter.time_on_string_s < launch(setup).time_on_string_s


def test_rest_clear_counts_from_brace_to_the_rest() -> None:
    """A rest ahead of the pivot point, towards the target, is cleared later."""
    behind, ahead = launch(measured(rest_m=-0.02)), launch(measured(rest_m=0.03))
    assert ahead.rest_clear_s - behind.rest_clear_s == pytest.approx(0.05 / ahead.arrow_speed_m_s, rel=1e-9)


def test_sensitivity_needs_inertia_and_distance() -> None:
    setup = measured(inertia_kg_m2=Axes(yaw=0.32))
    assert launch(setup).sensitivity_mm_per_nm == Axes()
    far = replace(setup, target=Target(distance_m=50))
    at_50 = launch(far)
    assert at_50.sensitivity_mm_per_nm.yaw == pytest.approx(50_000 * at_50.time_on_string_s**2 / 0.64)
    assert at_50.sensitivity_mm_per_nm.pitch is None


@pytest.mark.parametrize(
    ("kind", "stated", "grams", "says"),
    [
        ("compound", {}, 7.284, "7.28 g assumed"),
        ("recurve", {}, 5.7697 + 0.0583 * 24.3, "7.19 g assumed"),
        ("compound", {"virtual_mass_kg": 0.004}, 4.0, "friction is not stated and taken as 0"),
    ],
)
def test_losses_that_are_not_stated_are_assumed_and_said_so(
    kind: str, stated: dict[str, float], grams: float, says: str
) -> None:
    setup = measured(**{"kind": kind, "virtual_mass_kg": None, "friction": None, **stated})
    result = launch(setup)
    assert result.virtual_mass_kg * 1e3 == pytest.approx(grams, abs=0.005)
    assert any(says in note for note in result.notes)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"arrow_mass_kg": 0.0}, "never shoot without an arrow"),
        ({"arrow_mass_kg": float("nan")}, "never shoot without an arrow"),
        ({"let_off": 80}, "80 is out of range; write 0.80 for 80 %"),
        ({"let_off": 1.0}, "out of range"),
        ({"let_off": float("nan")}, "nan is out of range"),
    ],
)
def test_what_cannot_be_launched(change: dict[str, float], says: str) -> None:
    with pytest.raises(InputError, match=says):
        launch(measured(), **change)


def test_no_arrow_and_no_hold() -> None:
    with pytest.raises(InputError, match=r"needs arrow\.mass"):
        launch(replace(measured(), arrow=Arrow()))
    flat_out = ((0.18, 0.0), (0.3, 200.0), (0.4, 150.0), (0.42, 1e-3))
    with pytest.raises(InputError, match=r"holds 0\.001 N at full draw"):
        launch(measured(draw_force_curve=flat_out))
