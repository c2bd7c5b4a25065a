"""What really happened, for judging an analysis: plain values, times in device seconds from the first sample's tick."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from quiethand.axes import Axes

__all__ = ["NuisanceTruth", "ShotTruth", "Truth"]


@dataclass(frozen=True)
class ShotTruth:
    """One shot of the rigid bow, in the bow frame at release. What the sensor's seat adds by ringing is not in it.

    Release is the instant half of the string hand's hold is gone, departure the string's first passing of brace
    height. The three parts add up to `rotation_deg`: carried in is rate at release x time on the string, struck what
    the pluck's torque alone turns a free bow, pressed the rest.
    """

    number: int
    kind: str  # compound or recurve
    release_s: float
    hold_loss_s: tuple[float, float]  # begin and end of the string hand's letting go
    departure_s: float
    time_on_string_s: float
    rest_clear_s: float
    draw_end_s: float
    arrow_speed_m_s: float
    rotation_deg: Axes
    rate_at_release_deg_s: Axes
    rate_deg_s: Axes  # at departure
    peak_rate_deg_s: Axes  # largest magnitude within the time on the string
    carried_in_deg: Axes
    struck_deg: Axes
    pressed_deg: Axes
    after_release_deg: Mapping[int, Axes]  # by milliseconds
    mean_torque_nm: Axes
    peak_torque_nm: Axes  # largest magnitude
    angular_impulse_nms: Axes
    hand_stiffness_nm_rad: Axes
    damping_ratio: Axes
    habit: str

    def shifted(self, first_s: float, scale: float) -> ShotTruth:
        """The same shot on a clock that reads zero at `first_s` and runs `scale` times as fast."""

        def on(time_s: float) -> float:
            return (time_s - first_s) * scale

        return replace(
            self,
            release_s=on(self.release_s),
            hold_loss_s=(on(self.hold_loss_s[0]), on(self.hold_loss_s[1])),
            departure_s=on(self.departure_s),
            time_on_string_s=self.time_on_string_s * scale,
            rest_clear_s=on(self.rest_clear_s),
            draw_end_s=on(self.draw_end_s),
        )


@dataclass(frozen=True)
class NuisanceTruth:
    """Something that is not a shot. A clicker's click need not be noticed; everything else should be."""

    time_s: float
    kind: str  # tap, set_down, nock, let_down, walk, drop, cable, dry_fire, clicker

    def shifted(self, first_s: float, scale: float) -> NuisanceTruth:
        return replace(self, time_s=(self.time_s - first_s) * scale)


@dataclass(frozen=True)
class Truth:
    """A whole recording: what happened in it and what a reader should count."""

    shots: tuple[ShotTruth, ...]
    nuisances: tuple[NuisanceTruth, ...]
    samples: int  # that were sent whole
    lost_samples: int
    rate_hz: float
    duration_s: float
    segments: int
