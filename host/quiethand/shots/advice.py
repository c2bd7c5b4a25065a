"""What a person can do to make one source of uncertainty smaller, given what this shot already had."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from quiethand.motion.block import MotionBlock
    from quiethand.shots.model import Shot

__all__ = ["advice_for"]


def advice_for(source: str, shot: Shot, block: MotionBlock | None) -> str:
    """One clause for one source of a budget; `block` tells how the motion was recorded."""
    match source:
        case "timing of the release" | "timing of the departure" | "correlation of the two instants" | "fit":
            return _timing(shot, block)
        case "noise":
            return "a gyro with less noise"
        case "bias":
            if block is not None and not block.bias_stated:
                return "let the bow rest in its stand for some seconds between shots, or run 'calibrate still'"
            return "let the bow rest in its stand for some seconds between shots"
        case "scale":
            return "a gyro whose scale is calibrated on a turntable"
        case "mount":
            if block is not None and not block.mount_stated:
                return "state how the sensor sits: 'calibrate mount'"
            return "a mount turned to its marks with more care than half a degree"
        case "acceleration":
            return "a gyro that feels less acceleration, or a place on the bow that is pushed less"
        case "gyro delay" | "accelerometer delay":
            sensor = source.partition(" ")[0]
            delay = None if block is None else block.gyro_delay_s if sensor == "gyro" else block.accel_delay_s
            if delay is None:
                return f"state the {sensor}'s delay ({sensor.replace('erometer', '')}_delay in the set-up)"
            return f"a {sensor} whose filter's delay is known to better than a twentieth of a millisecond"
        case _:
            return f"less uncertainty of {source}"


def _timing(shot: Shot, block: MotionBlock | None) -> str:
    """Whatever makes instants sharper and is not there yet."""
    ways = []
    if any("no launch model" in note for note in shot.notes):
        ways.append("a set-up with the bow's measured draw-force curve")
    elif any("curve" in note for note in shot.notes) or shot.push_misfit is None or shot.push_misfit > 0.05:
        ways.append("a measured draw-force curve in the set-up")
    if shot.departure_from != "shock":
        ways.append("an accelerometer range that the shock does not clip")
    if block is not None and block.accel_delay_s is None:
        ways.append("a stated accelerometer delay")
    if block is not None and 1 / block.period_s < 3500:
        ways.append(f"a higher accelerometer rate than {1 / block.period_s:.0f} Hz")
    ways.append("a stiffer mount")
    return ", ".join(ways[:-1]) + (" and " if len(ways) > 1 else "") + ways[-1]
