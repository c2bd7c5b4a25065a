"""Attitudes as unit quaternions (x y z w), many at a time: the emulator's own, apart from the analysis."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["compose", "from_angles", "from_vector", "gravity_in_body", "matrix", "running", "to_vector", "turn_between"]

Floats = NDArray[np.float64]


def compose(first: Floats, second: Floats) -> Floats:
    """`first` followed by `second` in the frame that `first` made; shapes (..., 4)."""
    ax, ay, az, aw = first[..., 0], first[..., 1], first[..., 2], first[..., 3]
    bx, by, bz, bw = second[..., 0], second[..., 1], second[..., 2], second[..., 3]
    both = np.empty(np.broadcast_shapes(first.shape, second.shape))
    both[..., 0] = aw * bx + ax * bw + ay * bz - az * by
    both[..., 1] = aw * by - ax * bz + ay * bw + az * bx
    both[..., 2] = aw * bz + ax * by - ay * bx + az * bw
    both[..., 3] = aw * bw - ax * bx - ay * by - az * bz
    return both


def from_vector(vector: Floats) -> Floats:
    """Rotation vectors (..., 3) in rad to quaternions (..., 4)."""
    angle = np.linalg.norm(vector, axis=-1, keepdims=True)
    # sin(a/2)/a by numpy's sinc, which knows the limit at 0
    return np.concatenate((vector * 0.5 * np.sinc(angle / (2 * math.pi)), np.cos(angle / 2)), axis=-1)


def to_vector(quaternion: Floats) -> Floats:
    """Quaternions (..., 4) to rotation vectors (..., 3) of at most half a turn."""
    signed = np.where(quaternion[..., 3:] < 0, -quaternion, quaternion)
    sine = np.linalg.norm(signed[..., :3], axis=-1, keepdims=True)
    angle = 2 * np.arctan2(sine, signed[..., 3:])
    return signed[..., :3] * np.where(sine > 1e-12, angle / np.maximum(sine, 1e-300), 2.0)


def running(start: Floats, steps: Floats) -> Floats:
    """Attitudes after each of the body-frame rotation vectors `steps` (n, 3), from `start`; shape (n + 1, 4).

    A prefix product by doubling: log2(n) rounds of numpy in place of n small ones.
    """
    chain = np.concatenate((start[None, :], from_vector(steps)))
    reach = 1
    while reach < len(chain):
        chain[reach:] = compose(chain[:-reach], chain[reach:])
        reach *= 2
    result: Floats = chain / np.linalg.norm(chain, axis=1, keepdims=True)
    return result


def matrix(quaternion: Floats) -> Floats:
    """(4,) to the 3 x 3 matrix that takes body components to those of the outer frame."""
    x, y, z, w = quaternion
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def gravity_in_body(quaternion: Floats) -> Floats:
    """The upward unit vector as bodies of attitudes (n, 4) see it, shape (n, 3)."""
    x, y, z, w = quaternion[..., 0], quaternion[..., 1], quaternion[..., 2], quaternion[..., 3]
    return np.stack((2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)), axis=-1)


def from_angles(yaw_deg: float, pitch_deg: float, cant_deg: float) -> Floats:
    """Yaw about z, then pitch about the new y, then cant about the new x."""
    turns = np.radians([[0, 0, yaw_deg], [0, pitch_deg, 0], [cant_deg, 0, 0]])
    yaw, pitch, cant = from_vector(turns)
    return compose(compose(yaw, pitch), cant)


def turn_between(start: Floats, end: Floats) -> Floats:
    """The body-frame rotation vector that takes attitude `start` to `end`, shape (3,)."""
    return to_vector(compose(start * np.array([-1.0, -1.0, -1.0, 1.0]), end))
