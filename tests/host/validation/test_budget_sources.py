"""The budget held to account: rows that combine, sources switched on one at a time, and a Monte Carlo (JCGM 101:2008).

JCGM 101's idea is to draw the inputs from their distributions and run the measurement on them; here the integral of
the rate between two instants, computed on a fine grid by the test itself.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from quiethand.analysis import analyse_path
from quiethand.emulator import Faults, Scenario, sensor, write_recording
from quiethand.emulator.sensor import SensorSpec
from quiethand.shots.budget import (
    MOUNT_SIGMA_RAD,
    SCALE_SIGMA,
    BudgetInputs,
    budget_rows,
    combined_sigma_deg,
    integrated_noise,
)

from .altered import document_of

Floats = NDArray[np.float64]
Rows = dict[str, Floats]
SCENARIO = Scenario(seed=7, habit="grip_torque", shots=3, every_s=9.0, nuisances="none", rate_hz=2000.0)
TIMING = {"timing of the release", "timing of the departure", "correlation of the two instants"}
# of the angle and the rates themselves: these move a little with whatever moves the angle
FOLLOWING = {"scale", "mount", "gyro delay", *TIMING}


def rows_for(folder: Path, spec: SensorSpec | None = None, faults: Faults | None = None, **stated: object) -> Rows:
    """Median size of each row over a recording's shots, degrees, shape (3,)."""
    path = folder / "budget.qhr"
    scenario = SCENARIO if faults is None else replace(SCENARIO, faults=faults)
    with pytest.MonkeyPatch.context() as patch:
        if spec is not None:
            patch.setitem(sensor.SENSORS, "good", spec)
        write_recording(path, scenario, session=document_of(scenario, **stated))
        report = analyse_path(str(path))
    assert len(report.shots) == 3
    by: dict[str, list[Floats]] = {}
    for shot in report.shots:
        assert combined_sigma_deg(shot.budget) == pytest.approx(shot.at_departure.rotation_sigma_deg.array(), rel=0.05)
        for row in shot.budget:
            by.setdefault(row.source, []).append(np.abs(row.deg.array()))
    return {source: np.median(values, axis=0) for source, values in by.items()}


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    return rows_for(tmp_path_factory.mktemp("usual"))


def grown(before: Rows, after: Rows) -> dict[str, float]:
    """By how much each row grew, where it did by over a tenth."""
    ratio = {s: float(np.linalg.norm(after[s]) / np.linalg.norm(before[s])) for s in before}
    return {source: r for source, r in ratio.items() if r > 1.1}


def test_gyro_noise_grows_the_row_of_noise(usual: Rows, tmp_path: Path) -> None:
    """And that of acceleration: how much a gyro feels acceleration is judged by how noisy it is."""
    spec = sensor.SENSORS["good"]
    after = grown(usual, rows_for(tmp_path, replace(spec, gyro_noise_deg_s=4 * spec.gyro_noise_deg_s)))
    assert 3.0 < after.pop("noise") < 5.0
    assert after.keys() <= {"acceleration", *TIMING}


def test_a_gyro_that_feels_more_grows_the_row_of_acceleration(usual: Rows, tmp_path: Path) -> None:
    """Its noise does not tell: the shots before do, from the second on."""
    after = grown(usual, rows_for(tmp_path, replace(sensor.SENSORS["good"], gyro_per_g_deg_s=0.3)))
    assert after.pop("acceleration") > 1.3
    assert after.keys() <= FOLLOWING  # what is left of the answer in the angle and the rates moves these


def test_a_bias_that_is_not_stated_grows_the_row_of_bias(usual: Rows, tmp_path: Path) -> None:
    after = grown(usual, rows_for(tmp_path, gyro_bias=None))
    assert after.pop("bias") > 4
    assert after.keys() <= FOLLOWING  # the hold's own drift is taken for bias, which changes the rates


def test_a_mount_that_is_not_stated_grows_the_row_of_mount(usual: Rows, tmp_path: Path) -> None:
    after = grown(usual, rows_for(tmp_path, mount=None))
    assert after.pop("mount") > 3
    assert after == {}


def test_delays_that_are_not_stated_grow_delay_and_instants(usual: Rows, tmp_path: Path) -> None:
    after = grown(usual, rows_for(tmp_path, faults=Faults(delays_unknown=True)))
    assert after.pop("gyro delay") > 3
    assert after.pop("timing of the departure") > 1.5
    assert after.keys() <= TIMING


def test_noise_of_the_accelerometer_grows_the_instants_alone(usual: Rows, tmp_path: Path) -> None:
    spec = sensor.SENSORS["good"]
    after = grown(usual, rows_for(tmp_path, replace(spec, accel_noise_m_s2=30 * spec.accel_noise_m_s2)))
    assert "timing of the release" in after
    assert after.keys() <= TIMING


PLAIN = BudgetInputs(
    rotation_rad=np.deg2rad([0.05, -0.12, 0.20]),
    noise_rad=np.deg2rad([0.0006, 0.0005, 0.0007]),
    noise_kind_a=True,
    bias_sigma_rad_s=np.deg2rad([0.03, 0.02, 0.04]),
    bias_kind_a=True,
    rate_release_rad_s=np.deg2rad([0.8, -0.5, 1.2]),
    rate_departure_rad_s=np.deg2rad([6.0, -15.0, 24.0]),
    instants_covariance_s2=np.array([[2.0e-8, 0.4e-8], [0.4e-8, 1.2e-8]]),
    total_s=0.015,
    mount_stated=True,
    impulse_m_s=0.3,
    sensitivity_rad_s_per_m_s2=np.deg2rad([0.004, 0.003, 0.005]),
    gyro_delay_sigma_s=0.05e-3,
)
LARGER: dict[str, tuple[BudgetInputs, set[str]]] = {
    "noise": (replace(PLAIN, noise_rad=3 * PLAIN.noise_rad), {"noise"}),
    "bias": (replace(PLAIN, bias_sigma_rad_s=3 * PLAIN.bias_sigma_rad_s), {"bias"}),
    "release": (
        replace(PLAIN, instants_covariance_s2=PLAIN.instants_covariance_s2 * [[9, 1], [1, 1]]),
        {"timing of the release"},
    ),
    "departure": (
        replace(PLAIN, instants_covariance_s2=PLAIN.instants_covariance_s2 * [[1, 1], [1, 9]]),
        {"timing of the departure"},
    ),
    "mount": (replace(PLAIN, mount_stated=False), {"mount"}),
    "acceleration": (
        replace(PLAIN, sensitivity_rad_s_per_m_s2=3 * PLAIN.sensitivity_rad_s_per_m_s2),
        {"acceleration"},
    ),
    "push": (replace(PLAIN, impulse_m_s=3 * PLAIN.impulse_m_s), {"acceleration"}),
    "delay": (replace(PLAIN, gyro_delay_sigma_s=3 * PLAIN.gyro_delay_sigma_s), {"gyro delay"}),
    "rotation": (replace(PLAIN, rotation_rad=3 * PLAIN.rotation_rad), {"scale", "mount"}),
}


@pytest.mark.parametrize("name", LARGER)
def test_one_input_at_a_time_grows_its_own_row(name: str) -> None:
    more, rows = LARGER[name]
    before = {row.source: row.deg.array() for row in budget_rows(PLAIN)}
    after = {row.source: row.deg.array() for row in budget_rows(more)}
    assert {source for source in before if np.all(np.abs(after[source]) > 1.5 * np.abs(before[source]))} == rows
    assert all(after[source] == pytest.approx(before[source]) for source in before.keys() - rows)


def test_a_monte_carlo_of_the_inputs_gives_the_stated_sigma() -> None:
    """Rotation as the integral of a rate that rises as t^2, every input drawn anew 20,000 times."""
    rng = np.random.default_rng(101)
    trials, total = 20_000, PLAIN.total_s
    fine = np.linspace(-0.002, total + 0.002, 381)
    start, end = PLAIN.rate_release_rad_s, PLAIN.rate_departure_rad_s
    course = start + (end - start) * (np.clip(fine, 0, None)[:, None] / total) ** 2
    running = np.concatenate((np.zeros((1, 3)), np.cumsum((course[1:] + course[:-1]) / 2 * np.diff(fine)[:, None], 0)))

    def integral(at: Floats) -> Floats:
        return np.stack([np.interp(at, fine, running[:, k]) for k in range(3)], axis=1)

    off = rng.multivariate_normal([0, 0], PLAIN.instants_covariance_s2, trials)
    late = rng.normal(0, PLAIN.gyro_delay_sigma_s, trials)
    turned = integral(total + off[:, 1] - late) - integral(off[:, 0] - late)
    plain = (integral(np.array([total])) - integral(np.array([0.0])))[0]
    turned *= 1 + rng.normal(0, SCALE_SIGMA, (trials, 3))
    turned += np.cross(rng.normal(0, MOUNT_SIGMA_RAD, (trials, 3)), turned)
    turned += rng.normal(0, 1, (trials, 3)) * PLAIN.bias_sigma_rad_s * total
    turned += rng.normal(0, 1, (trials, 3)) * PLAIN.sensitivity_rad_s_per_m_s2 * PLAIN.impulse_m_s
    turned += rng.normal(0, 1, (trials, 3)) * PLAIN.noise_rad
    stated = combined_sigma_deg(budget_rows(replace(PLAIN, rotation_rad=plain)))
    assert np.degrees(turned.std(axis=0)) == pytest.approx(stated, rel=0.05)


@pytest.mark.parametrize(("rate_hz", "bandwidth_hz"), [(1000.0, None), (2000.0, 300.0), (8000.0, 500.0)])
def test_integrated_noise_is_what_a_sum_of_filtered_noise_shows(rate_hz: float, bandwidth_hz: float | None) -> None:
    """White noise through the second-order Butterworth that sensors have, summed over 15 ms, 3,000 times."""
    from scipy.signal import butter, lfilter

    rng = np.random.default_rng(7)
    n, settle = round(0.015 * rate_hz), 400
    noise = rng.standard_normal((3000, settle + n))
    if bandwidth_hz is not None:
        noise = lfilter(*butter(2, bandwidth_hz, fs=rate_hz), noise, axis=1)
    shown = noise[:, settle:]
    summed = float((shown.sum(axis=1) / rate_hz).std())
    stated = integrated_noise(np.full(3, shown.std()), 0.015, 1 / rate_hz, bandwidth_hz)[0]
    assert stated == pytest.approx(summed, rel=0.1)
