"""Release, departure and time on the string of one shot, with uncertainties, from all that speaks of them.

The shock says when the string passed brace height; the launch model how long before that the release was; the push
where on that line its flank lies, and its own length; the riser's first stir when a trigger broke. Each is weighted by
its variance: a Gauss-Newton fit for the first three, then the change point with that as its prior.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.middle import median
from quiethand.shots.push_model import PushModel, push_model
from quiethand.shots.timing_onset import release_onset
from quiethand.shots.timing_push import PushFit, best_push
from quiethand.shots.timing_shock import PATH_DELAY_SIGMA_S, axes_clipped, rise_sigma_s, shock_onset

if TYPE_CHECKING:
    from quiethand.bow.launch import Launch
    from quiethand.bow.model import Setup
    from quiethand.shots.candidate import Candidate, MotionWindow
    from quiethand.shots.model import DepartureFrom

__all__ = ["Instants", "find_instants"]

# A filter's delay as stated is good to a twentieth of a millisecond (data sheets give it to a digit or two). Not
# stated, it may be anything up to a sample or so at common settings.
_DELAY_SIGMA_S: Final = 0.05e-3
_UNKNOWN_DELAY_SIGMA_S: Final = 0.25e-3
_SHOCK_WITHIN_S: Final = 4e-3
_ASSUMED_SIGMA_S: Final = 1.5e-3
# The string of a bow with fast limbs is stopped by them as it straightens, over a millisecond or more, rather than by
# cams' stops: a shock that starts softly shows late, and the sooner the louder its rings are.
_SOFT_SHOCK_SIGMA_S: Final = 0.12e-3
_THIN_S: Final = 0.5e-3
_GENERIC_SIGMA_S: Final = 0.25e-3  # by which another bow's curve shifts the fit (spread over simulated bows)


@dataclass(frozen=True)
class Instants:
    release_s: float
    departure_s: float
    covariance_s2: NDArray[np.float64]  # (2, 2) of release and departure, delays included
    departure_from: DepartureFrom
    fingers: bool | None  # whether the push that fits best is one let go by fingers
    string_impulse: (
        tuple[NDArray[np.float64], NDArray[np.float64]] | None
    )  # times and impulse of that push, see PushFit
    misfit: float | None
    first_break_s: float  # ticks before this are free of the shock
    noise_m_s2: NDArray[np.float64]  # (3,) one sample of acceleration in the hold
    notes: tuple[str, ...]

    @property
    def time_on_string_s(self) -> float:
        return self.departure_s - self.release_s

    @property
    def release_sigma_s(self) -> float:
        return float(np.sqrt(self.covariance_s2[0, 0]))

    @property
    def departure_sigma_s(self) -> float:
        return float(np.sqrt(self.covariance_s2[1, 1]))

    @property
    def time_on_string_sigma_s(self) -> float:
        c = self.covariance_s2
        return float(np.sqrt(max(c[0, 0] + c[1, 1] - 2 * c[0, 1], 1e-12)))


def delay_sigma_s(delay_s: float | None) -> float:
    return _UNKNOWN_DELAY_SIGMA_S if delay_s is None else _DELAY_SIGMA_S


def find_instants(candidate: Candidate, setup: Setup | None, launch: Launch | None) -> Instants:
    """See the module. Never fails: where nothing speaks the candidate's own instants stand, with a note."""
    window = candidate.window
    notes: list[str] = []
    model = push_model(launch, setup)
    widths = rise_sigma_s(window.accel_bandwidth_hz, window.accel_delay_s, window.period_s)
    noise = hold_noise(window, candidate.release_s)
    shock = shock_onset(
        window.time_s,
        window.specific_force_m_s2,
        window.accel_clipped,
        expected_s=candidate.departure_s,
        within_s=_SHOCK_WITHIN_S,
        delay_s=window.accel_delay_s or 0.0,
        period_s=window.period_s,
        noise_m_s2=float(noise.max()),
        widths_s=widths,
    )
    departure_from: DepartureFrom
    if shock is not None:
        end_s, end_sigma_s, first_break_s, departure_from = (
            shock.departure_s,
            shock.sigma_s,
            shock.first_break_s,
            "shock",
        )
        if all(shape.fingers for shape in model.shapes):
            end_sigma_s = float(np.hypot(end_sigma_s, _SOFT_SHOCK_SIGMA_S))
    else:
        end_s, end_sigma_s, departure_from = candidate.departure_s, 3e-3, "launch_model" if launch else "assumed"
        first_break_s = end_s - 1e-3 if window.accel_delay_s is None else end_s
    fit = _fit_push(window, noise, model, end_s, end_sigma_s, first_break_s)
    clipped_in_push = _clipped_between(window, candidate.release_s, first_break_s)
    if clipped_in_push:
        notes.append(
            "the accelerometer clipped while the arrow was on the string: release from what is left of the push"
            " and the launch model"
            if launch
            else "the accelerometer clipped while the arrow was on the string: release from what is left of the push"
        )
    if fit is None:
        length, spread = (
            model.time_on_string_s() if launch else (candidate.departure_s - candidate.release_s, _ASSUMED_SIGMA_S)
        )
        notes.append(
            "the push cannot be fitted: release from the launch model's time on the string"
            if launch
            else "the push cannot be fitted: release as found, good to a millisecond or two"
        )
        covariance = np.array([[end_sigma_s**2 + spread**2, end_sigma_s**2], [end_sigma_s**2, end_sigma_s**2]])
        instants = Instants(
            end_s - length, end_s, covariance, departure_from, None, None, None, first_break_s, noise, tuple(notes)
        )
    else:
        instants = _from_fit(window, fit, departure_from, first_break_s, noise, tuple(notes))
    common = delay_sigma_s(window.accel_delay_s) ** 2
    if window.accel_delay_s is None:
        instants = replace(
            instants, notes=(*instants.notes, "the accelerometer's delay is not stated: taken as 0, instants wider")
        )
    if shock is None:
        why = "no shock stands out at brace: departure " + ("from the launch model" if launch else "assumed")
        instants = replace(instants, notes=(*instants.notes, why))
    return replace(instants, covariance_s2=instants.covariance_s2 + common)


def hold_noise(window: MotionWindow, release_s: float) -> NDArray[np.float64]:
    """Standard deviation of one sample of acceleration before the release, slow motion taken off, shape (3,)."""
    t = window.accel_time_s
    at = np.flatnonzero((t > release_s - 0.08) & (t < release_s - 0.006) & ~window.accel_clipped)
    if len(at) < 8:
        return np.full(3, 0.1)
    # second differences take tremor off; of white noise their variance is 6 times a sample's
    f = window.specific_force_m_s2[at]
    bend = f[2:] - 2 * f[1:-1] + f[:-2]
    return np.asarray(np.maximum(1.2 * median(np.abs(bend)) / 0.6745 / np.sqrt(6), 0.01))


def _fit_push(
    window: MotionWindow,
    noise: NDArray[np.float64],
    model: PushModel,
    end_s: float,
    end_sigma_s: float,
    first_break_s: float,
) -> PushFit | None:
    longest = max(s.time_on_string_s for s in model.shapes) * (1.0 if model.from_setup else 1.6)
    t = window.accel_time_s
    full = axes_clipped(window.specific_force_m_s2, window.accel_clipped)[:, 0]
    use = (t > end_s - longest - 12e-3) & (window.time_s < first_break_s) & ~full
    level = (t > end_s - longest - 60e-3) & (t < end_s - longest - 4e-3) & ~full
    if use.sum() < 8 or level.sum() < 5:
        return None
    x = window.specific_force_m_s2[:, 0]
    push, times = x[use] - float(median(x[level])), t[use]
    # the model's own error lasts a millisecond or more: means over half of one lose nothing and cost less
    n = max(1, int(_THIN_S / window.period_s))
    if n > 1 and np.all(np.diff(window.index[use]) == 1):
        keep = len(push) // n * n
        push, times = push[-keep:].reshape(-1, n).mean(axis=1), times[-keep:].reshape(-1, n).mean(axis=1)
    fit = best_push(
        times,
        push,
        float(noise[0]) / np.sqrt(n),
        n * window.period_s,
        model,
        departure_s=end_s,
        departure_sigma_s=end_sigma_s,
    )
    if fit is None or model.from_setup:
        return fit
    # A generic curve tells the release, but must not move the departure from where the shock has it.
    release, both = fit.covariance_s2[0, 0] + _GENERIC_SIGMA_S**2, 0.5 * end_sigma_s**2
    total = release + end_sigma_s**2 - both
    covariance = np.array([[release, both / 2 - release], [both / 2 - release, total]])
    return replace(fit, time_on_string_s=end_s - fit.release_s, covariance_s2=covariance)


def _from_fit(
    window: MotionWindow,
    fit: PushFit,
    departure_from: DepartureFrom,
    first_break_s: float,
    noise: NDArray[np.float64],
    notes: tuple[str, ...],
) -> Instants:
    """The fit's instants, sharpened by the riser's first stir where a trigger let go."""
    # from release and time on the string to release and departure
    turn = np.array([[1.0, 0.0], [1.0, 1.0]])
    covariance = turn @ fit.covariance_s2 @ turn.T
    both = np.array([fit.release_s, fit.release_s + fit.time_on_string_s])
    sigma = float(np.sqrt(covariance[0, 0]))
    if not fit.shape.fingers and sigma < 2e-3:
        width = rise_sigma_s(window.accel_bandwidth_hz, window.accel_delay_s, window.period_s)[1]
        onset = release_onset(
            window.accel_time_s,
            window.specific_force_m_s2,
            noise,
            expected_s=fit.release_s,
            expected_sigma_s=sigma,
            width_s=width,
        )
        if onset is not None:
            gain = covariance[:, 0] / covariance[0, 0]
            both = both + gain * (onset.release_s - fit.release_s)
            covariance = covariance - np.outer(gain, gain) * (covariance[0, 0] - onset.sigma_s**2)
    covariance = covariance + 0.25 * PATH_DELAY_SIGMA_S**2 * np.eye(2)
    return Instants(
        float(both[0]),
        float(both[1]),
        covariance,
        departure_from,
        fit.shape.fingers,
        (fit.shape.time_s, fit.impulse),
        fit.misfit,
        first_break_s,
        noise,
        notes,
    )


def _clipped_between(window: MotionWindow, start_s: float, end_tick_s: float) -> bool:
    during = (window.accel_time_s > start_s) & (window.time_s < end_tick_s - 0.5 * window.period_s)
    return bool((during & window.accel_clipped).any())
