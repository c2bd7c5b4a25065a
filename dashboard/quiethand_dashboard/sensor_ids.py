"""Ids of the sensor's page; see `ids`."""

from __future__ import annotations

from typing import Final

PULSE: Final = "sensor-pulse"
SHOWN: Final = "sensor-shown"  # what the parts show, so that only what changed is sent
LISTED: Final = "sensor-listed"
ASKED: Final = "sensor-asked"  # the last wish of this page, and what it was for

# recording
RECORD_WORDS: Final = "sensor-record-words"
PORT: Final = "sensor-port"
PORT_PLACE: Final = "sensor-port-place"
RECORD: Final = "sensor-record"
RECORD_ANSWER: Final = "sensor-record-answer"

# the link
LINK: Final = "sensor-link"
GYRO_SHEET: Final = "sensor-gyro-sheet"  # the data sheet's noise densities
ACCEL_SHEET: Final = "sensor-accel-sheet"

MOUNT: Final = "sensor-mount"

# calibrating
KIND: Final = "sensor-kind"
HOW: Final = "sensor-how"
SIZES: Final = "sensor-sizes"  # what the inertia needs besides a recording
AXIS: Final = "sensor-axis"
MASS: Final = "sensor-mass"
CORD: Final = "sensor-cord"
SPACING: Final = "sensor-spacing"
BEGIN: Final = "sensor-begin"
FINISH: Final = "sensor-finish"
WRITE: Final = "sensor-write"
FEEDBACK: Final = "sensor-feedback"
RESULT: Final = "sensor-result"
KEPT: Final = "sensor-kept"

RECORDINGS: Final = "sensor-recordings"
