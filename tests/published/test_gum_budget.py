"""The budget's arithmetic against the Guide to the Expression of Uncertainty in Measurement and a worked angle."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from quiethand.axes import Axes
from quiethand.shots.budget import BudgetInputs, budget_rows, combined_sigma_deg, integrated_noise
from quiethand.shots.model import BudgetRow


def _row(value: float, source: str = "part") -> BudgetRow:
    return BudgetRow(source, "B", Axes(value, value, value))


def test_gauge_block_parts_add_in_quadrature() -> None:
    """GUM (JCGM 100:2008) H.1, end gauge: 25, 9.7, 2.9 and 16.7 nm make 32 nm (from memory; recomputed 31.72)."""
    total = combined_sigma_deg(tuple(_row(x) for x in (25.0, 9.7, 2.9, 16.7)))
    assert total == pytest.approx([31.72] * 3, abs=0.01)


def test_correlated_parts_add_with_their_sign() -> None:
    """GUM H.2: R = V cos(phi) / I; u(R) is 0.071 ohm with the correlations of the data, 0.195 without (from memory)."""
    volt = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    ampere = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
    phase = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
    v, i, p = volt.mean(), ampere.mean(), phase.mean()
    assert v / i * np.cos(p) == pytest.approx(127.732, abs=0.001)
    slope = np.array([np.cos(p) / i, -v / i**2 * np.cos(p), -v / i * np.sin(p)])
    covariance = np.cov(np.stack([volt, ampere, phase])) / 5
    alone = [_row(abs(slope[k]) * np.sqrt(covariance[k, k])) for k in range(3)]
    assert combined_sigma_deg(tuple(alone))[0] == pytest.approx(0.195, abs=0.001)
    shared = []
    for a, b in combinations(range(3), 2):
        part = 2 * slope[a] * slope[b] * covariance[a, b]
        shared.append(_row(np.sign(part) * np.sqrt(abs(part)), "correlation"))
    assert combined_sigma_deg((*alone, *shared))[0] == pytest.approx(0.071, abs=0.001)


def test_noise_integrates_with_the_root_of_time() -> None:
    """n sqrt(t/2) for a one-sided density n (IEEE Std 952, from memory): 0.005 deg/s/sqrt(Hz), 15 ms: 0.000433013."""
    period = 1 / 4000
    sample = 0.005 * np.sqrt(0.5 / period)
    angle = integrated_noise(np.full(3, sample), 0.015, period, None)
    assert angle == pytest.approx([0.000433013] * 3, abs=1e-9)


def test_noise_of_filtered_samples_is_that_of_its_density() -> None:
    """Monte Carlo (JCGM 101): samples that a low-pass has made alike integrate to what the formula says."""
    from scipy.signal import butter, lfilter

    rng = np.random.default_rng(3)
    rate, band, total = 8000.0, 500.0, 0.02
    b, a = butter(2, band, fs=rate)
    noise = lfilter(b, a, rng.standard_normal(800_000))[2000:]
    n = int(total * rate)
    angles = noise[: len(noise) // n * n].reshape(-1, n).sum(axis=1) / rate
    stated = integrated_noise(np.full(3, noise.std()), total, 1 / rate, band)[0]
    assert stated == pytest.approx(angles.std(), rel=0.06)


def _inputs(**changes: object) -> BudgetInputs:
    values: dict[str, object] = {
        "rotation_rad": np.zeros(3),
        "noise_rad": np.full(3, np.deg2rad(0.000433013)),
        "noise_kind_a": True,
        "bias_sigma_rad_s": np.full(3, np.deg2rad(0.02)),
        "bias_kind_a": True,
        "rate_release_rad_s": np.full(3, np.deg2rad(0.5)),
        "rate_departure_rad_s": np.full(3, np.deg2rad(20.0)),
        "instants_covariance_s2": np.diag([0.3e-3**2, 0.2e-3**2]),
        "total_s": 0.015,
        "mount_stated": True,
        "impulse_m_s": 0.0,
        "sensitivity_rad_s_per_m_s2": np.zeros(3),
        "gyro_delay_sigma_s": 0.0,
    }
    return BudgetInputs(**{**values, **changes})  # type: ignore[arg-type]


def test_an_angle_with_its_parts() -> None:
    """Worked out by hand: 0.000433, 0.0003, 0.00015 and 0.004 make 0.0040373 deg; the instant rules, not the noise."""
    rows = budget_rows(_inputs())
    by_source = {row.source: row.deg.array()[2] for row in rows}
    assert by_source["noise"] == pytest.approx(0.000433013)
    assert by_source["bias"] == pytest.approx(0.0003)
    assert by_source["timing of the release"] == pytest.approx(0.00015)
    assert by_source["timing of the departure"] == pytest.approx(0.004)
    assert combined_sigma_deg(rows)[2] == pytest.approx(0.0040373, abs=1e-7)


@pytest.mark.parametrize(
    ("source", "changes"),
    [
        ("noise", {"noise_rad": np.full(3, 1e-3)}),
        ("bias", {"bias_sigma_rad_s": np.full(3, 1e-2)}),
        ("timing of the release", {"instants_covariance_s2": np.diag([1e-5, 0.2e-3**2])}),
        ("timing of the departure", {"instants_covariance_s2": np.diag([0.3e-3**2, 1e-5])}),
        ("acceleration", {"impulse_m_s": 0.5, "sensitivity_rad_s_per_m_s2": np.full(3, 1e-4)}),
        ("gyro delay", {"gyro_delay_sigma_s": 1e-3}),
    ],
)
def test_each_source_moves_its_own_row_and_no_other(source: str, changes: dict[str, object]) -> None:
    before = {row.source: row.deg.array() for row in budget_rows(_inputs())}
    after = {row.source: row.deg.array() for row in budget_rows(_inputs(**changes))}
    assert {s for s in before if not np.array_equal(before[s], after[s])} == {source}
    assert np.all(after[source] > before[source])
