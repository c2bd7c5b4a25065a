"""What the sensor's page says: of a recording, of the link, of each calibration."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from quiethand.control import SupervisorState
    from quiethand.live_status import LiveStatus

__all__ = ["KINDS", "NO_SUPERVISOR", "Kind", "recording_words"]


@dataclass(frozen=True)
class Kind:
    """One calibration."""

    label: str
    how: str
    name: str


KINDS: Final = {
    "still": Kind(
        "1. Lying still: gyro bias and noise",
        "Lay the sensor on a table the way it sits on a level bow. Let it warm up for some minutes. Begin, and touch "
        "neither for 30 s.",
        "lying still",
    ),
    "six-face": Kind(
        "2. Six faces: accelerometer",
        "Take it off the bow. Begin, then lay it on each of its six faces, 3 s each, letting go every time. It need "
        "not be true. On six of its edges too, for the cross-axis.",
        "the six faces",
    ),
    "mount": Kind(
        "3. Mount: which way it sits on the bow",
        "Screw it to the bow. Begin, hold or prop the bow level and upright for 5 s by a bubble level, then its nose "
        "straight down for 5 s by a plumb line. Nothing else.",
        "the mount",
    ),
    "inertia": Kind(
        "4. Inertia: once for each of three axes",
        "Hang the undrawn bow by two equal, parallel cords, its balance point midway between them, the axis upright. "
        "Begin, let it hang still, turn it by 10 deg about the upright axis, let go, and let it swing 20 times.",
        "the inertia",
    ),
}

NO_SUPERVISOR: Final = (
    "This page only shows what is stored. To record and calibrate from it, start it in a terminal with ",
    "quiethand live --setup bow.toml",
)


def recording_words(state: SupervisorState, status: LiveStatus | None) -> str:
    """What is being recorded, in a sentence."""
    if state.purpose is None:
        if state.ports:
            return "Nothing is being recorded."
        return "Nothing is being recorded, and no port is there. Plug the sensor in; it shows here within seconds."
    what = "shots" if state.purpose == "shots" else f"a calibration, {KINDS[state.purpose].name},"
    told = f"Recording {what} to {state.recording}"
    if status is None or status.state == "stopped":
        return f"{told}."
    if status.state == "waiting":
        return f"{told}; waiting for the first sample."
    if status.state == "link_lost":
        return f"{told}; the link is lost, and is waited for."
    more = f" The recorder says: {status.text}." if status.text else ""
    return f"{told}: {status.samples:,} samples so far.{more}"
