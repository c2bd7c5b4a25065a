"""Offset, scale and cross-axis of an accelerometer from still poses: whichever way it lies it feels gravity, |f| = g.

    minimise  sum over poses of (|A (f - b)| - g)^2

with b the offset and A symmetric: a turn of A changes no length, so it is left to the mount. Each face up and down
tells offset and scale; cross-axis needs poses on edges or corners besides, and is held at 0 where it is not told. After
Camps, Harasse and Monin, Numerical calibration for 3-axis accelerometers and magnetometers, 2009 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.errors import InputError

__all__ = ["FACES", "FacesResult", "directed_faces", "faces_shown", "fit_faces"]

Floats = NDArray[np.float64]

STANDARD_GRAVITY_M_S2: Final = 9.80665
FACES: Final = ("+x", "-x", "+y", "-y", "+z", "-z")
# Beforehand, standard deviations: offset far beyond any data sheet, scale wide enough for a wrong guess of units to
# show, cross-axis as data sheets limit it (1 to 2 %).
_OFFSET_PRIOR_M_S2: Final = 5.0
_SCALE_PRIOR: Final = 0.2
_CROSS_PRIOR: Final = 0.01
# What a pose is good to besides its noise: hysteresis, temperature, a table that gives (order of magnitude).
_POSE_M_S2: Final = 0.003
_TOLD_OFFSET_M_S2: Final = 0.05
_TOLD_SCALE: Final = 0.005
_TOLD_CROSS: Final = 0.4 * _CROSS_PRIOR
_MOST_LEFT_M_S2: Final = 0.1
_FACE_COSINE: Final = 0.82  # within 35 degrees
_PAIRS: Final = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))


@dataclass(frozen=True)
class FacesResult:
    """a = matrix (raw - offset); standard uncertainties."""

    offset_m_s2: Floats  # (3,)
    offset_sigma_m_s2: Floats  # (3,)
    matrix: Floats  # (3, 3) symmetric
    scale_sigma: Floats  # (3,) of the diagonal
    cross_sigma: Floats  # (3,) of xy, xz, yz
    cross_told: bool
    residual_m_s2: Floats  # (n,) |a| - g of each pose
    spare: float  # equations beyond what was fitted
    poses: int


def faces_shown(force_m_s2: Floats) -> dict[str, int]:
    """How many of the poses (n, 3) lie on each face: "+x" is the x axis up."""
    unit = force_m_s2 / np.linalg.norm(force_m_s2, axis=1, keepdims=True)
    return {
        name: int(np.sum((1 if name[0] == "+" else -1) * unit[:, "xyz".index(name[1])] > _FACE_COSINE))
        for name in FACES
    }


def fit_faces(force_m_s2: Floats, sigma_m_s2: Floats) -> FacesResult:
    """Fit offset and matrix to still poses.

    Args:
        force_m_s2: mean reading of each pose, shape (n, 3), sensor axes, nothing taken off.
        sigma_m_s2: standard uncertainty of each reading's length, shape (n,).

    Raises:
        InputError: the poses do not tell offset and scale (and which face is missing), or do not agree.
    """
    force = np.asarray(force_m_s2, dtype=np.float64)
    shown = faces_shown(force)
    missing = [face for face, count in shown.items() if not count]
    sigma = np.hypot(np.asarray(sigma_m_s2, dtype=np.float64), _POSE_M_S2)
    params = np.array([0.0, 0, 0, 1, 1, 1, 0, 0, 0])
    prior = np.array([_OFFSET_PRIOR_M_S2] * 3 + [_SCALE_PRIOR] * 3 + [_CROSS_PRIOR] * 3)
    centre = params.copy()
    for _ in range(50):
        left, slope = _residuals(params, force)
        normal = (slope / sigma[:, None] ** 2).T @ slope + np.diag(1 / prior**2)
        pull = (slope / sigma[:, None] ** 2).T @ left + (params - centre) / prior**2
        step = np.linalg.solve(normal, pull)
        params = params - step
        if np.all(np.abs(step) < 1e-12 * np.array([10.0] * 3 + [1.0] * 6)):
            break
    left, slope = _residuals(params, force)
    covariance = np.linalg.inv(normal)
    fitted = float(np.trace(covariance @ (slope / sigma[:, None] ** 2).T @ slope))
    spare = len(force) - fitted
    spread = np.sqrt(np.diag(covariance))
    if np.any(spread[:3] > _TOLD_OFFSET_M_S2) or np.any(spread[3:6] > _TOLD_SCALE):
        raise InputError(
            f"{len(force)} still poses do not tell offset and scale of every axis: "
            + (f"no pose with {_as_words(missing)}" if missing else "they are too much alike"),
            do="lay the sensor on each of its six faces in turn, 2 s each, and record them all",
        )
    worst = int(np.argmax(np.abs(left)))
    if abs(left[worst]) > _MOST_LEFT_M_S2:
        raise InputError(
            f"the poses do not agree: pose {worst + 1} is off by {left[worst]:+.2f} m/s2 after the fit",
            do="record again; put the sensor down, let go of it, wait 2 s, and turn it to the next face",
        )
    scale = params[3:6]
    if np.any(np.abs(scale - 1) > 0.15) or np.any(np.abs(params[:3]) > 4.0):
        raise InputError(
            f"the accelerometer would need scales of {', '.join(f'{s:.3f}' for s in scale)} and offsets of "
            f"{', '.join(f'{b:.2f}' for b in params[:3])} m/s2",
            do="no sensor is that far off: check the stated units and accel_scale",
        )
    if spare > 1:  # the poses themselves say how far they can be trusted
        spread = spread * max(1.0, float(np.sqrt(np.sum((left / sigma) ** 2) / spare)))
    told = bool(np.all(spread[6:] < _TOLD_CROSS))
    matrix = _matrix(params if told else np.concatenate([params[:6], np.zeros(3)]))
    if not told:
        spread[6:] = _CROSS_PRIOR
    return FacesResult(params[:3], spread[:3], matrix, spread[3:6], spread[6:], told, left, max(spare, 0.0), len(force))


def directed_faces(force_m_s2: Floats, gravity_m_s2: float = STANDARD_GRAVITY_M_S2) -> tuple[Floats, Floats]:
    """The textbook's closed form where the sensor sits true in a square box: f = M g_i + b with known directions.

    Args:
        force_m_s2: shape (6, 3), readings with +x, -x, +y, -y, +z, -z up.

    Returns:
        b (3,), the mean of the six, and M (3, 3), whose column i is (f_i+ - f_i-) / (2 g); a = M^-1 (f - b).
    """
    force = np.asarray(force_m_s2, dtype=np.float64)
    return force.mean(axis=0), ((force[0::2] - force[1::2]) / (2 * gravity_m_s2)).T


def _matrix(params: Floats) -> Floats:
    matrix = np.zeros((3, 3))
    for value, (i, j) in zip(params[3:], _PAIRS, strict=True):
        matrix[i, j] = matrix[j, i] = value
    return matrix


def _residuals(params: Floats, force: Floats) -> tuple[Floats, Floats]:
    """|A (f - b)| - g, shape (n,), and its slope by b and the six of A, shape (n, 9)."""
    matrix = _matrix(params)
    arm = force - params[:3]
    found = arm @ matrix
    length = np.linalg.norm(found, axis=1)
    unit = found / length[:, None]
    columns = [unit[:, i] * arm[:, j] + (unit[:, j] * arm[:, i] if i != j else 0.0) for i, j in _PAIRS]
    return length - STANDARD_GRAVITY_M_S2, np.column_stack([-(unit @ matrix), *columns])


def _as_words(faces: list[str]) -> str:
    return ", ".join(f"the {face[1]} axis {'up' if face[0] == '+' else 'down'}" for face in faces)
