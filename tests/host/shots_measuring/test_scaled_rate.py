"""A gyro that shows a tenth more: what is linear in the rate grows by a tenth, and what does not come from it stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from quiethand.bow.launch import launch
from quiethand.shots.measure import measure

from .shot_simulator import GOOD, simulate

MORE = 1.1


@pytest.mark.parametrize("seed", [60, 61, 62])
def test_a_scaled_rate_scales_the_angles_alone(seed: int) -> None:
    scene = simulate(seed, ("compound", "recurve")[seed % 2], 2000.0, GOOD)
    made = launch(scene.setup)
    plain = measure(scene.candidate, scene.setup, made, 1, scene.still)
    window = scene.candidate.window
    still = replace(
        scene.still, bias_rad_s=scene.still.bias_rad_s * MORE, gyro_noise_rad_s=scene.still.gyro_noise_rad_s * MORE
    )
    candidate = replace(scene.candidate, window=replace(window, rate_rad_s=window.rate_rad_s * MORE))
    scaled = measure(candidate, scene.setup, made, 1, still)
    assert (scaled.release_s, scaled.departure_s) == (plain.release_s, plain.departure_s)
    for name in ("rate_rms_deg_s", "tremor_rms_deg_s", "drift_deg_s"):
        before, after = getattr(plain.hold, name).array(), getattr(scaled.hold, name).array()
        assert after == pytest.approx(MORE * before, rel=1e-9)
    # the modelled end of the window leans on priors, which do not scale: by a share of its uncertainty
    sigma = plain.at_departure.rotation_sigma_deg.array()
    off = scaled.at_departure.rotation_deg.array() - MORE * plain.at_departure.rotation_deg.array()
    assert (np.abs(off) < 0.1 * sigma).all()
    for then, now in zip(plain.after_release, scaled.after_release, strict=True):
        assert (np.abs(now.rotation_deg.array() - MORE * then.rotation_deg.array()) < 0.1 * sigma).all()
    impulse, its_sigma = plain.window.angular_impulse_nms.array(), plain.window.angular_impulse_sigma_nms.array()
    assert (np.abs(scaled.window.angular_impulse_nms.array() - MORE * impulse) < 0.25 * its_sigma).all()
    assert scaled.follow_through.mount_mode_hz == pytest.approx(plain.follow_through.mount_mode_hz, rel=1e-9)
