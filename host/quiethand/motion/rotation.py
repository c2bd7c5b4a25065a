"""Rotation from rate: increments exact for a constant rate, right to third order where it changes, and composed.

Turning about one axis while another turns makes a turn about the third (coning); adding the axes up apart misses it.
So each step's increment carries the second term of the Magnus expansion, and increments are composed as quaternions.
Quaternions are x y z w, as the mount in a set-up file; rotation vectors are in rad.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "matrix_from_quaternion", "quaternion_from_vector", "quaternion_product", "rotation", "rotation_curve",
    "vector_from_quaternion",
]  # fmt: skip

Array = NDArray[np.float64]

# A slope taken over steps that differ by more than this follows the short one's noise, so the rate is then taken as
# straight between the samples. Lost blocks and a time column that repeats itself make such steps.
UNEVEN: Final = 3.0


def rotation(time_s: ArrayLike, rate_rad_s: ArrayLike, t0_s: float, t1_s: float) -> Array:
    """How the body turned between two instants: the rotation vector of R(t0)^T R(t1), in the body's frame at t0.

    Only the samples between the instants and the one just outside at either end are looked at, so nothing that
    happens later (a shock) leaks in, but for the last step's interpolation.

    Args:
        time_s: when each rate was, shape (n,), strictly rising, seconds.
        rate_rad_s: angular rate in the body's frame, shape (n, 3), rad/s.
        t0_s, t1_s: the instants, anywhere from the first to the last sample, in either order.

    Returns:
        Shape (3,), rad, of a turn of at most pi.

    Raises:
        ValueError: an instant outside the samples, under two samples, shapes that do not match, NaN.
    """
    return np.asarray(rotation_curve(time_s, rate_rad_s, t0_s, [t1_s])[0], dtype=np.float64)


def rotation_curve(time_s: ArrayLike, rate_rad_s: ArrayLike, t0_s: float, at_s: ArrayLike) -> Array:
    """As `rotation`, for many instants at once: the vectors of R(t0)^T R(t), shape (m, 3) in rad.

    Between samples the rate is a cubic through its values with the slopes of the parabola through three samples
    (straight where steps are uneven). For a step of length h with zeroth moment A = integral of w dt and first moment
    B = integral of (t/h - 1/2) w dt, the increment is A + A x B: the fourth-order Magnus expansion (A. Iserles and
    S. P. Norsett 1999; for attitude the same as Bortz 1971 and Miller 1983 with the rate as a polynomial).

    Args:
        time_s: shape (n,), strictly rising, seconds.
        rate_rad_s: shape (n, 3), rad/s.
        t0_s: the instant whose frame the vectors are in.
        at_s: instants before or after t0, in any order, shape (m,).
    """
    time = np.asarray(time_s, dtype=np.float64)
    rate = np.asarray(rate_rad_s, dtype=np.float64)
    at = np.atleast_1d(np.asarray(at_s, dtype=np.float64))
    if time.ndim != 1 or rate.shape != (len(time), 3) or len(time) < 2:
        raise ValueError(f"need two samples or more of time (n,) and rate (n, 3), got {time.shape} and {rate.shape}")
    wanted = np.concatenate([[t0_s], at])
    low, high = wanted.min(), wanted.max()
    if not (time[0] <= low and high <= time[-1]):  # also false for NaN
        raise ValueError(f"instants {low} to {high} s are not within the samples, {time[0]} to {time[-1]} s")
    first = max(int(np.searchsorted(time, low, side="right")) - 1, 0)
    last = max(int(np.searchsorted(time, high, side="left")), first + 1)
    if last >= len(time):
        first, last = min(first, len(time) - 2), len(time) - 1
    time, rate = time[first : last + 1], rate[first : last + 1]

    nodes = np.sort(np.concatenate([time[(time > low) & (time < high)], wanted]))
    nodes = nodes[np.append(True, nodes[1:] > nodes[:-1])]
    if len(nodes) == 1:
        return np.zeros((len(at), 3))
    turned = _running_product(quaternion_from_vector(_increments(time, rate, nodes)))
    since_first = np.concatenate([[[0.0, 0.0, 0.0, 1.0]], turned])
    from_t0 = since_first[np.searchsorted(nodes, t0_s)] * np.array([-1.0, -1.0, -1.0, 1.0])
    return vector_from_quaternion(quaternion_product(from_t0, since_first[np.searchsorted(nodes, at)]))


def quaternion_from_vector(vector_rad: ArrayLike) -> Array:
    """Rotation vector (..., 3) to unit quaternion (..., 4), x y z w."""
    vector = np.asarray(vector_rad, dtype=np.float64)
    half = 0.5 * np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.concatenate([0.5 * np.sinc(half / np.pi) * vector, np.cos(half)], axis=-1)


def vector_from_quaternion(quaternion: ArrayLike) -> Array:
    """Unit quaternion (..., 4), x y z w, to the rotation vector (..., 3) of at most pi, rad."""
    given = np.asarray(quaternion, dtype=np.float64)
    q: Array = np.where(given[..., 3:] < 0, -given, given)
    sine = np.linalg.norm(q[..., :3], axis=-1, keepdims=True)
    angle = 2.0 * np.arctan2(sine, q[..., 3:])
    small = sine < 1e-12
    return q[..., :3] * np.where(small, 2.0, angle / np.where(small, 1.0, sine))


def quaternion_product(left: ArrayLike, right: ArrayLike) -> Array:
    """Hamilton's product (..., 4), x y z w: turn by `left`, then by `right` about the axes as turned."""
    a, b = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    ax, ay, az, aw = a[..., 0], a[..., 1], a[..., 2], a[..., 3]
    bx, by, bz, bw = b[..., 0], b[..., 1], b[..., 2], b[..., 3]
    return np.stack(
        [
            aw * bx + ax * bw + ay * bz - az * by,
            aw * by - ax * bz + ay * bw + az * bx,
            aw * bz + ax * by - ay * bx + az * bw,
            aw * bw - ax * bx - ay * by - az * bz,
        ],
        axis=-1,
    )


def matrix_from_quaternion(quaternion: ArrayLike) -> Array:
    """The matrix (3, 3) that takes a vector from the turned frame to the fixed one; the quaternion is normalised."""
    x, y, z, w = np.asarray(quaternion, dtype=np.float64) / np.linalg.norm(np.asarray(quaternion, dtype=np.float64))
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _increments(time: Array, rate: Array, nodes: Array) -> Array:
    """Rotation vector of each interval between nodes, none of which straddles a sample: shape (len(nodes) - 1, 3).

    Each axis is a row in here: arithmetic runs along memory, which takes a third of the time of going by threes.
    """
    step = np.searchsorted(time, 0.5 * (nodes[1:] + nodes[:-1]), side="right") - 1
    step = np.minimum(np.maximum(step, 0), len(time) - 2)
    length = time[1:] - time[:-1]
    h, rates = length[step], np.ascontiguousarray(rate.T)
    f0, f1 = rates[:, step], rates[:, step + 1]
    rise = f1 - f0
    m0 = m1 = rise
    if len(time) > 2:
        slope = _slopes(length, rates)
        ratio = np.maximum(length[1:], length[:-1]) > UNEVEN * np.minimum(length[1:], length[:-1])
        uneven = np.append(ratio, False) | np.append(False, ratio)
        bent = ~uneven[step]
        m0, m1 = np.where(bent, slope[:, step] * h, m0), np.where(bent, slope[:, step + 1] * h, m1)
    c2, c3 = 3 * rise - 2 * m0 - m1, m0 + m1 - 2 * rise

    def ends(node: Array) -> tuple[Array, Array]:
        s = (node - time[step]) / h
        return f0 + s * (m0 + s * (c2 + s * c3)), (m0 + s * (2 * c2 + 3 * s * c3)) / h

    (left, left_slope), (right, right_slope) = ends(nodes[:-1]), ends(nodes[1:])
    span = nodes[1:] - nodes[:-1]
    ax, ay, az = a = span * (0.5 * (left + right) + span * (left_slope - right_slope) / 12)
    bx, by, bz = span * ((right - left) / 10 - span * (left_slope + right_slope) / 120)
    return np.asarray((a + np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])).T)


def _slopes(length: Array, rates: Array) -> Array:
    """Slope at each of n >= 3 samples of the parabola through it and its neighbours, rates (3, n)."""
    chord = (rates[:, 1:] - rates[:, :-1]) / length
    bend = (chord[:, 1:] - chord[:, :-1]) / (length[1:] + length[:-1])
    first = chord[:, :1] - bend[:, :1] * length[0]
    last = chord[:, -1:] + bend[:, -1:] * length[-1]
    return np.concatenate([first, chord[:, :-1] + bend * length[:-1], last], axis=1)


def _running_product(steps: Array) -> Array:
    """Products of the first 1, 2, ... n quaternions, shape (n, 4), in log2(n) passes over the whole.

    A quaternion is taken as two complex numbers, a + b j with a = w + x i and b = y + z i (Cayley and Dickson), whose
    product is four of numpy's instead of sixteen.
    """
    a, b = steps[:, 3] + 1j * steps[:, 0], steps[:, 1] + 1j * steps[:, 2]
    reach = 1
    while reach < len(a):
        a0, b0, a1, b1 = a[:-reach], b[:-reach], a[reach:], b[reach:]
        a[reach:], b[reach:] = a0 * a1 - b0 * b1.conj(), a0 * b1 + b0 * a1.conj()
        reach *= 2
    out = np.stack([a.imag, b.real, b.imag, a.real], axis=1)
    return np.asarray(out / np.linalg.norm(out, axis=-1, keepdims=True), dtype=np.float64)
