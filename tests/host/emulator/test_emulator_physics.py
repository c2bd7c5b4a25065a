"""The emulator's own physics against closed forms and scipy, which know nothing of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.integrate
import scipy.spatial.transform
from numpy.typing import NDArray
from quiethand.emulator import HABITS, Scenario, ShotTruth
from quiethand.emulator.attitude import from_angles, gravity_in_body, running, to_vector
from quiethand.emulator.bows import BowPlan, bow_plan
from quiethand.emulator.habits import habit_of
from quiethand.emulator.launch_run import run_launch
from quiethand.emulator.movement import Act, Turn
from quiethand.emulator.resonance import respond
from quiethand.emulator.scene import Piece, Scene
from quiethand.emulator.shooting import FINE_S, draw_shot, shoot, truth_of

Floats = NDArray[np.float64]
G = 9.80665
Rotation = scipy.spatial.transform.Rotation


class StraightPlan(BowPlan):
    """A force that is straight in the travel, from 40 N or 200 N to 200 N, and nothing but the arrow moving."""

    first_n = 200.0

    def force_n(self, travel_m: Floats | float) -> Floats:
        return self.first_n + (200.0 - self.first_n) * np.asarray(travel_m) / 0.5

    def tip_share(self, travel_m: Floats | float) -> tuple[Floats, Floats]:
        zero = np.zeros_like(np.asarray(travel_m, dtype=float))
        return zero, zero


class RisingPlan(StraightPlan):
    first_n = 40.0


@pytest.mark.parametrize(
    ("kind", "time_ms", "speed_m_s"), [(StraightPlan, 12.24744871, 81.6497), (RisingPlan, 22.19637420, 63.2456)]
)
def test_launch_agrees_with_closed_forms(kind: type[StraightPlan], time_ms: float, speed_m_s: float) -> None:
    """Constant force: t = sqrt(2 M d/F). Rising: acosh(1 + s d/F0)/sqrt(s/M). M 0.030 kg, d 0.5 m (computed)."""
    base = bow_plan("compound")
    values = {name: getattr(base, name) for name in BowPlan.__dataclass_fields__}
    plan = kind(**(values | {"stroke_m": 0.5, "friction": 0.0, "string_mass_kg": 0.0, "arrow_mass_kg": 0.030}))
    run = run_launch(plan, 1e-7)
    assert run.departure_s * 1e3 == pytest.approx(time_ms, rel=1e-5)
    assert run.arrow_speed_m_s == pytest.approx(speed_m_s, rel=1e-5)


@pytest.mark.parametrize("bow", ["compound", "recurve"])
def test_launch_keeps_energy_and_momentum(bow: str) -> None:
    plan = bow_plan(bow)  # type: ignore[arg-type]
    run = run_launch(plan, 2e-4)
    stored, _ = scipy.integrate.quad(lambda x: float(plan.force_n(x)), 0, plan.stroke_m, limit=200)
    moving = plan.arrow_mass_kg + float(plan.virtual_mass_kg(plan.stroke_m))
    assert moving * run.arrow_speed_m_s**2 / 2 == pytest.approx((1 - plan.friction) * stored, rel=2e-3)
    # what the bow got, the archer's steady hand gave or the arrow, string and limbs took away
    held = float(plan.force_n(0.0)) * run.departure_s
    gone = (plan.arrow_mass_kg + float(plan.momentum_mass_kg(plan.stroke_m))) * run.arrow_speed_m_s
    assert np.trapezoid(run.push_n, run.time_s) == pytest.approx(held - gone, rel=5e-3)


def test_recurve_stores_as_much_as_real_ones() -> None:
    """Energy/(peak force x stroke) of four recurves: 0.581 to 0.595 (Tuijn and Kooi, Eur. J. Phys. 13, 1992)."""
    plan = bow_plan("recurve")
    stored, _ = scipy.integrate.quad(lambda x: float(plan.force_n(x)), 0, plan.stroke_m)
    assert 0.57 < stored / (plan.peak_weight_n * plan.stroke_m) < 0.60


def test_push_has_the_expected_shape() -> None:
    compound, recurve = (run_launch(bow_plan(k), bow_plan(k).loss_s[0]) for k in ("compound", "recurve"))  # type: ignore[arg-type]
    mass = bow_plan("compound").mass_kg * G
    early = np.interp(0.002, compound.time_s, compound.push_n) / mass
    assert -1.0 < early < 0.0
    assert compound.push_n.min() / mass < -4.0, "several g backward at its highest"
    mass = bow_plan("recurve").mass_kg * G
    late = np.interp(0.95 * recurve.departure_s, recurve.time_s, recurve.push_n) / mass
    assert -2.0 < np.interp(0.003, recurve.time_s, recurve.push_n) / mass < -0.3
    assert late > 3.0, "several g forward before brace"


def test_respond_agrees_with_scipy() -> None:
    rng = np.random.default_rng(7)
    drive = rng.standard_normal(400).cumsum()
    step, omega, ratio = 1e-3, 2 * math.pi * 9.0, 0.3
    place, speed = respond(drive, step, omega, ratio)
    time = step * np.arange(400)

    def slope(t: float, y: Floats) -> list[float]:
        return [y[1], float(np.interp(t, time, drive)) - 2 * ratio * omega * y[1] - omega**2 * y[0]]

    oracle = scipy.integrate.solve_ivp(slope, (0, time[-1]), [0, 0], t_eval=time, rtol=1e-9, atol=1e-12, max_step=step)
    np.testing.assert_allclose(place, oracle.y[0], atol=1e-6 * np.abs(place).max())
    np.testing.assert_allclose(speed, oracle.y[1], atol=1e-6 * np.abs(speed).max())


def test_respond_does_not_overflow_over_long_stretches() -> None:
    """A stiff filter over 5 s: the pole's own growth would pass 1e308 if it were not cut into chunks."""
    omega = 2 * math.pi * 800
    place, _ = respond(np.full(100_000, omega**2), 5e-5, omega, 0.7071)
    np.testing.assert_allclose(place[1000:], 1.0, rtol=1e-9)


def test_running_agrees_with_scipy() -> None:
    steps = np.random.default_rng(3).standard_normal((37, 3)) * 0.2
    ours = running(from_angles(20, -10, 5), steps)
    theirs = Rotation.from_euler("ZYX", [20, -10, 5], degrees=True)
    for n, step in enumerate(steps):
        theirs = theirs * Rotation.from_rotvec(step)
        assert abs(np.dot(ours[n + 1], theirs.as_quat())) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("angles", "force"),
    [((0, 0, 0), (0, 0, G)), ((0, 0, 10), (0, 1.702907, 9.657665)), ((0, 10, 0), (-1.702907, 0, 9.657665)),
     ((77, 0, 0), (0, 0, G))],
)  # fmt: skip
def test_gravity_by_the_frames_definition(angles: tuple[float, float, float], force: tuple[float, ...]) -> None:
    """Cant + is top limb right, pitch + nose down, yaw changes nothing (right-hand rule, x forward, y left, z up)."""
    np.testing.assert_allclose(G * gravity_in_body(from_angles(*angles)[None, :])[0], force, atol=1e-6)


def pieces_of(scene: Scene, act: Act) -> list[Piece]:
    return list(scene.play(act).pieces)


def level_scene() -> Scene:
    scene = Scene(Scenario())
    scene.attitude = from_angles(0.0, 0.0, 0.0)
    return scene


def test_a_level_bow_at_rest_reads_gravity_upward() -> None:
    (piece,) = pieces_of(level_scene(), Act(1.0))
    np.testing.assert_allclose(piece.force_m_s2, np.broadcast_to([0, 0, 9.80665], piece.force_m_s2.shape), atol=1e-12)
    np.testing.assert_array_equal(piece.rate_rad_s, 0.0)


def test_turning_shows_at_the_lever_arm() -> None:
    """Inward acceleration w^2 r where the rate is at its peak, 1.875 angle/time for the smoothest turn."""
    scene = level_scene()
    (piece,) = pieces_of(scene, Act(1.0, (Turn(0.0, 1.0, (0.0, 0.0, 1.0)),)))
    middle = len(piece.rate_rad_s) // 2
    assert piece.rate_rad_s[middle, 2] == pytest.approx(1.875, rel=1e-6)
    assert piece.force_m_s2[middle, 0] == pytest.approx(-(1.875**2) * scene.plan.lever_arm_m[0], rel=1e-3)
    assert piece.step_s * piece.rate_rad_s[:, 2].sum() == pytest.approx(1.0, rel=1e-6)


def one_truth(seed: int, habit: str = "quiet", bow: str = "compound") -> tuple[ShotTruth, Floats]:
    """A shot's truth beside its rotation by scipy: the product of 4,000 small turns over the interpolated rate."""
    plan, named = bow_plan(bow), habit_of(habit, bow)  # type: ignore[arg-type]
    shot = draw_shot(plan, named, np.random.default_rng(seed))
    time = FINE_S * np.arange(-800, 11_000)
    held = np.radians(np.stack([np.sin(60 * time), 0.5 * np.cos(50 * time), 2.0 + 0 * time], axis=1))
    motion = shoot(plan, shot, time, held, 340.0)
    truth = truth_of(plan, shot, motion, named, 1, 100.0, 97.0)
    grid = np.linspace(0.0, truth.time_on_string_s, 4_001)
    middle = (grid[1:] + grid[:-1]) / 2
    rate = np.stack([np.interp(middle, motion.time_s, motion.rigid_rate[:, k]) for k in range(3)], axis=1)
    whole = Rotation.identity()
    turns = Rotation.from_rotvec(rate * (grid[1] - grid[0]))
    for turn in turns:
        whole = whole * turn
    return truth, np.degrees(whole.as_rotvec())


@pytest.mark.parametrize(("seed", "habit", "bow"), [(1, "quiet", "compound"), (2, "pluck", "recurve")])
def test_truth_is_what_scipy_integrates(seed: int, habit: str, bow: str) -> None:
    truth, oracle = one_truth(seed, habit, bow)
    np.testing.assert_allclose(truth.rotation_deg.array(), oracle, atol=1e-6)
    parts = truth.carried_in_deg.array() + truth.struck_deg.array() + truth.pressed_deg.array()
    np.testing.assert_allclose(parts, truth.rotation_deg.array(), atol=1e-12)


def shots_of(scenario: Scenario) -> list[ShotTruth]:
    scene, shots = Scene(scenario), list[ShotTruth]()
    while not (played := scene.next()).over:
        shots += played.shots
    return shots


def means(habit: str, bow: str = "compound") -> dict[str, Floats]:
    shots = shots_of(Scenario(seed=11, habit=habit, bow=bow, shots=8, nuisances="none"))  # type: ignore[arg-type]
    assert len(shots) == 8
    names = ("carried_in_deg", "struck_deg", "pressed_deg", "hand_stiffness_nm_rad")
    found = {name: np.mean([getattr(shot, name).array() for shot in shots], axis=0) for name in names}
    found["size"] = np.mean([np.abs(shot.carried_in_deg.array()) for shot in shots], axis=0)
    found["time"] = np.array([np.mean([shot.time_on_string_s for shot in shots])])
    found["pitch"] = np.array([shot.pressed_deg.array()[1] for shot in shots])
    return found


def test_habits_do_what_they_are_called() -> None:
    quiet = means("quiet")
    assert np.all(np.abs(quiet["pitch"]) > 0.005), "a bow pitches on every shot"
    assert means("grip_torque")["pressed_deg"][2] > quiet["pressed_deg"][2] + 0.006
    assert means("pluck")["struck_deg"][2] < -0.008 < quiet["struck_deg"][2]
    assert means("anticipation")["size"].sum() > 2 * quiet["size"].sum()
    assert means("dropping_arm")["pressed_deg"][1] > quiet["pressed_deg"][1] + 0.005
    assert np.all(means("tense")["hand_stiffness_nm_rad"] > 2 * quiet["hand_stiffness_nm_rad"])


def test_a_heavier_arrow_stays_longer_by_the_root_of_the_moving_mass() -> None:
    plan, heavy = bow_plan("compound"), bow_plan("compound", arrow_mass_factor=1.75)
    share = float(plan.virtual_mass_kg(0.0))
    ratio = means("slow_arrow")["time"][0] / means("quiet")["time"][0]
    expected = math.sqrt((heavy.arrow_mass_kg + share) / (plan.arrow_mass_kg + share))
    assert ratio == pytest.approx(expected, rel=0.01)


def test_without_an_arrow_the_string_is_far_quicker() -> None:
    plan = bow_plan("compound")
    assert run_launch(plan, 2e-4, arrow_mass_kg=0.0).departure_s < 0.6 * run_launch(plan, 2e-4).departure_s


def test_the_same_seed_shoots_the_same_shots_whatever_the_sensor() -> None:
    base = Scenario(seed=4, shots=2, nuisances="usual")
    same = shots_of(replace(base, rate_hz=500.0, mount_hz=60.0))
    assert shots_of(base) == same
    assert shots_of(replace(base, seed=5)) != same
    mirrored = shots_of(replace(base, handedness="left", habit="pluck"))
    plain = shots_of(replace(base, habit="pluck"))
    assert mirrored[0].struck_deg.yaw == pytest.approx(-(plain[0].struck_deg.yaw or 0.0), rel=0.02)


def test_every_habit_is_offered_by_the_command() -> None:
    from quiethand.commands.emulate import HABIT_NAMES

    assert set(HABIT_NAMES) == set(HABITS)


def test_vectors_of_small_and_large_turns() -> None:
    vectors = np.array([[0, 0, 0], [1e-9, 0, 0], [0.3, -0.2, 2.5]])
    np.testing.assert_allclose(to_vector(Rotation.from_rotvec(vectors).as_quat()), vectors, atol=1e-12)
