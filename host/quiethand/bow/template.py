"""An annotated set-up to start from: every key with what it is, how to measure it, and a value to replace."""

from __future__ import annotations

import textwrap
from typing import Final, Literal

__all__ = ["template"]

_WIDTH: Final = 118
_REMARK_COLUMN: Final = 34

_HEAD: Final = """\
# A Quiethand set-up: archer, bow, arrow, sensor and target.
#
# Quantities are text with a unit: "28.5 in", "72.4 cm", "60 lbf", "267 N", "350 grain", "22.7 g", "0.38 kg m^2".
# Lines that start with # are off. The values below describe no real bow: replace those you know and delete the others;
# what is not stated is left out of the report or assumed, and the report says so.
#
{cautions}

[archer]
name = "Lane 4"
handedness = "right"  ## "right": the left hand holds the bow; "left": the right hand does

[bow]
name = "{bow}"
kind = "{kind}"  ## "compound" or "recurve"
peak_weight = "{peak}"  ## the highest force on the way to full draw, by a bow scale
"""

_COMPOUND: Final = """\
let_off = 0.80  ## a fraction, not a percentage: (peak - holding) / peak; weigh the bow at full draw
"""

_BOW: Final = """\
draw_length = "{draw}"  ## ATA: string to pivot point (deepest part of the grip) at full draw, plus 1.75 in
brace_height = "{brace}"  ## string to pivot point, undrawn, at right angles to the string
rest = "0 in"  ## pivot point to arrow rest along the arrow, + towards the target
mass = "{mass}"  ## ready to shoot, with stabilizers, sight and sensor: a luggage or kitchen scale
# What the moving string, limbs and cams add to the arrow's mass (Klopsteg's virtual mass), and the share of the drawing
# force that is missing on the way back. Two arrows of different mass m over a chronograph give both: with stored energy
# E and speed v, m + virtual_mass = 2 E (1 - friction) / v^2. Left out, a published bow of the kind stands in.
# virtual_mass = "6 g"
# friction = 0.05
# Moments of inertia about the centre of mass, as shot. Hang the bow from two equal cords of length h, D apart, its axis
# upright between them, and time small swings about that axis: I = mass x 9.81 m/s^2 x D^2 x T^2 / (16 pi^2 h).
# Without them there is no torque, no hand stiffness and no sensitivity.
# inertia = {{ cant = "0.10 kg m^2", pitch = "0.38 kg m^2", yaw = "0.32 kg m^2" }}
# The draw-force curve, the best thing to measure: string to pivot point (so without the 1.75 in) and force, every inch
# or less, from brace height at no force to full draw. Use a draw board: never past full draw, never let the string go,
# and keep clear of it. Without a curve a generic shape is assumed.
# draw_force_curve = [
{curve}
# ]

[arrow]
name = "{arrow_name}"
mass = "{arrow}"  ## the whole arrow with point, nock and fletching: a grain or gram scale
length = "{arrow_length}"  ## nock's throat to the end of the shaft

[sensor]
# Centre of mass of the bow to the sensor, in the bow frame: x towards the target, y to the archer's left, z up. The
# bow balances on a finger at its centre of mass.
# lever_arm = ["260 mm", "0 mm", "-40 mm"]
# How the sensor sits: the unit quaternion x, y, z, w that turns its axes into the bow's. Left out, they are the same.
# mount = [0, 0, 0, 1]
# Readings of the sensor at rest, in its own axes: bias is what the gyro shows, offset what the accelerometer shows too
# much; the matrix corrects scale and skew, f = matrix x (raw - offset).
# gyro_bias = ["0 deg/s", "0 deg/s", "0 deg/s"]
# accel_offset = ["0 m/s^2", "0 m/s^2", "0 m/s^2"]
# accel_matrix = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
# What the stream does not tell (text mode, CSV): where readings clip, how late the filters show the motion, and the
# frequency (-3 dB) up to which they pass it. In pint's words the acceleration of gravity is g_0; "g" alone is a gram.
# accel_range = "16 g_0"
# gyro_range = "2000 deg/s"
# accel_delay = "1.0 ms"
# gyro_delay = "1.5 ms"
# accel_bandwidth = "500 Hz"
# gyro_bandwidth = "350 Hz"
# One count in SI units, only for text mode in counts that does not say so itself.
# accel_scale = 0.0047884  ## m/s2
# gyro_scale = 0.0010653  ## rad/s

[events]
# A switch or a light gate on the sensor's inputs: which channel is what, and the level after the edge that counts.
# What they measure is shown beside the estimates. A gate at the rest whose light the arrow breaks, and frees:
# rest_channel = 1
# rest_value = 0
# A switch that opens or closes as the string is let go:
# release_channel = 2
# release_value = 1

[target]
distance = "{distance}"
# Left out, the face is the one commonly shot at that distance: 40 cm at 18 m, 80 cm at 50 m, 122 cm at 70 m.
# face = "{face}"  ## "40 cm", "60 cm", "80 cm" or "122 cm"

[limits]
# Your own bounds; what goes over is flagged. Without any, the pointing shift is held against the radius of the ten.
# pointing_shift = "20 mm"  ## at the target, any direction; also pointing_shift_right, pointing_shift_up
# rotation_yaw = "0.10 deg"  ## from release to departure; also _cant, _pitch
# rate_yaw = "5 deg/s"  ## at departure; peak_rate_yaw: the highest before it
# mean_torque_yaw = "0.5 N m"  ## also peak_torque_yaw; both need inertia
# tremor_rms_yaw = "1 deg/s"  ## in the hold; also drift_yaw
# time_on_string = "20 ms"
"""

_COMPOUND_CURVE: Final = """\
#   ["7 in", "0 lbf"], ["8 in", "13.0 lbf"], ["9 in", "24.3 lbf"], ["10 in", "33.8 lbf"],
#   ["11 in", "41.6 lbf"], ["12 in", "47.6 lbf"], ["13 in", "51.8 lbf"], ["14 in", "54.3 lbf"],
#   ["15 in", "55.0 lbf"], ["16 in", "55.0 lbf"], ["17 in", "55.0 lbf"], ["18 in", "55.0 lbf"],
#   ["19 in", "55.0 lbf"], ["20 in", "53.8 lbf"], ["21 in", "48.9 lbf"], ["22 in", "41.6 lbf"],
#   ["23 in", "33.0 lbf"], ["24 in", "24.4 lbf"], ["25 in", "17.1 lbf"], ["26 in", "12.2 lbf"],
#   ["26.75 in", "11.0 lbf"],"""

_RECURVE_CURVE: Final = """\
#   ["8.8 in", "0 lbf"], ["10 in", "4.3 lbf"], ["11 in", "7.7 lbf"], ["12 in", "10.9 lbf"],
#   ["13 in", "14.0 lbf"], ["14 in", "17.0 lbf"], ["15 in", "19.8 lbf"], ["16 in", "22.5 lbf"],
#   ["17 in", "25.1 lbf"], ["18 in", "27.5 lbf"], ["19 in", "29.8 lbf"], ["20 in", "31.9 lbf"],
#   ["21 in", "33.9 lbf"], ["22 in", "35.7 lbf"], ["23 in", "37.4 lbf"], ["24 in", "39.0 lbf"],
#   ["25 in", "40.4 lbf"], ["26.25 in", "42.0 lbf"],"""

# Invented bows, as commonly shot at these distances (common practice, no source).
_VALUES: Final = {
    "compound": {
        "bow": "indoor compound", "kind": "compound", "peak": "55 lbf", "draw": "28.5 in",
        "brace": "7.0 in", "mass": "2.6 kg", "arrow_name": "indoor arrow", "arrow": "375 grain",
        "arrow_length": "28 in", "distance": "18 m", "face": "40 cm",
        "curve": _COMPOUND_CURVE,
    },
    "recurve": {
        "bow": "outdoor recurve", "kind": "recurve", "peak": "42 lbf", "draw": "28.0 in",
        "brace": "8.8 in", "mass": "2.5 kg", "arrow_name": "outdoor arrow", "arrow": "300 grain",
        "arrow_length": "28 in", "distance": "70 m", "face": "122 cm",
        "curve": _RECURVE_CURVE,
    },
}  # fmt: skip


def template(kind: Literal["compound", "recurve"], cautions: tuple[str, ...] = ()) -> str:
    """The text of a set-up file that reads without error; `cautions` go to its head."""
    head = "\n#\n".join(textwrap.fill(c, _WIDTH, initial_indent="# ", subsequent_indent="# ") for c in cautions)
    text = _HEAD + (_COMPOUND if kind == "compound" else "") + _BOW
    filled = text.format(cautions=head or "# Fill in what you know.", **_VALUES[kind])
    return "".join(_in_column(line) for line in filled.splitlines(keepends=True))


def _in_column(line: str) -> str:
    """A remark behind a value, marked by ##, is set in one column."""
    value, mark, remark = line.partition("  ## ")
    return f"{value:<{_REMARK_COLUMN}}# {remark}" if mark else line
