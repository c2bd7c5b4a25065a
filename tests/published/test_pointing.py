"""What a turn does at the target: signs by the right-hand rule with x forward, y left, z up; figures computed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from quiethand.axes import Axes
from quiethand.bow.launch import sensitivity_mm_per_nm
from quiethand.bow.model import Bow, Setup, Target
from quiethand.bow.pointing import pointing_shift_mm
from scipy.spatial.transform import Rotation


@pytest.mark.parametrize(("distance_m", "mm"), [(18, -31.4159), (50, -87.2665), (70, -122.1730)])
def test_a_tenth_of_a_degree(distance_m: float, mm: float) -> None:
    """+0.1 deg of yaw is to the left, so right is negative; the same pitch gives the same up."""
    right, up = pointing_shift_mm(np.radians([0.0, 0.0, 0.1]), distance_m)
    assert (right, up) == pytest.approx((mm, 0.0), abs=5e-5)
    right, up = pointing_shift_mm(np.radians([0.0, 0.1, 0.0]), distance_m)
    assert (right, up) == pytest.approx((0.0, mm), abs=5e-5)


def test_it_is_first_order_only() -> None:
    """(2, 0.5, 0.5) deg at 18 m: -157.08, -157.08 mm, while the turned x axis hits -159.80, -154.31 mm."""
    assert pointing_shift_mm(np.radians([2, 0.5, 0.5]), 18) == pytest.approx((-157.08, -157.08), abs=0.005)
    axis = Rotation.from_rotvec([2, 0.5, 0.5], degrees=True).apply([1.0, 0.0, 0.0])
    hit = (-axis[1] / axis[0] * 18e3, axis[2] / axis[0] * 18e3)  # y is to the left
    assert hit == pytest.approx((-159.80, -154.31), abs=0.005)


@pytest.mark.parametrize("small_deg", [0.01, 0.1])
def test_small_turns_agree_with_the_turned_axis(small_deg: float) -> None:
    """The rejected variant, pitch up as positive, would have the other sign."""
    turned = np.radians([0, small_deg, -2 * small_deg])
    axis = Rotation.from_rotvec(turned).apply([1.0, 0.0, 0.0])
    hit = np.array([-axis[1] / axis[0], axis[2] / axis[0]]) * 18e3
    assert pointing_shift_mm(turned, 18) == pytest.approx(tuple(hit), rel=2e-5 + small_deg / 100)


def test_a_steady_torque_through_the_time_on_the_string() -> None:
    """angle = torque t^2 / (2 I): 1 N m on 0.3 kg m2 for 15 ms turns 0.0214859 deg, 6.75 mm at 18 m."""
    setup = Setup(bow=Bow(inertia_kg_m2=Axes(0.1, 0.36, 0.3)), target=Target(distance_m=18))
    mm = sensitivity_mm_per_nm(setup, 0.015)
    assert mm.yaw == pytest.approx(6.75, rel=1e-12)
    assert mm.pitch == pytest.approx(6.75 * 0.3 / 0.36, rel=1e-12)
    assert mm.cant is None
    right, _ = pointing_shift_mm(np.radians([0.0, 0.0, 0.0214859]), 18)
    assert right == pytest.approx(-6.75, abs=2e-5)
    assert math.degrees(0.015**2 / 0.6) == pytest.approx(0.0214859, abs=5e-8)
