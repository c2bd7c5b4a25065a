"""How a sensor sits on the bow, from two still poses: the bow level and upright, and the bow's nose straight down.

What an accelerometer at rest shows points up. Level and upright, up is the bow's z; nose down, it is minus its x. The
turn that fits both best in the least squares sense is Wahba's problem (SIAM Review 7, 1965), solved by the singular
value decomposition (Markley 1988, from memory). Were the bow held perfectly the two would stand at 90 degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.calibrate.cells import Cells
from quiethand.calibrate.stillness import IN_HAND, Still, refusal_hint, still_stretches
from quiethand.errors import InputError

__all__ = ["MountResult", "mount_from_poses", "mount_from_recording", "poses_held", "quaternion_from_matrix"]

Floats = NDArray[np.float64]

LEAST_POSE_S: Final = 2.0
_SAME_DEG: Final = 8.0
_WORST_RESIDUAL_DEG: Final = 8.0
_HOW: Final = "hold or prop the bow level and upright for 5 s, then point its nose straight down for 5 s"
# A bubble level or a doorframe by eye: half a degree (common practice, no source).
HELD_SIGMA_DEG: Final = 0.5


@dataclass(frozen=True)
class MountResult:
    quaternion: Floats  # (4,) x y z w, sensor to bow frame, w >= 0
    residual_deg: float  # angle between the poses less 90 degrees
    sigma_deg: float  # standard uncertainty of the mount about any axis
    level_m_s2: Floats  # (3,) mean readings
    down_m_s2: Floats
    level_s: tuple[float, float]
    down_s: tuple[float, float]


def mount_from_poses(level_m_s2: Floats, down_m_s2: Floats) -> tuple[Floats, float]:
    """Quaternion x y z w (sensor to bow frame) and the residual against 90 degrees, of two readings (3,)."""
    up = np.asarray(level_m_s2, dtype=np.float64) / np.linalg.norm(level_m_s2)
    back = np.asarray(down_m_s2, dtype=np.float64) / np.linalg.norm(down_m_s2)
    residual = float(np.rad2deg(np.arctan2(np.linalg.norm(np.cross(up, back)), up @ back))) - 90.0
    bow = np.array([[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])
    left, _, right = np.linalg.svd(bow.T @ np.stack([up, back]))
    turn = left @ np.diag([1.0, 1.0, np.linalg.det(left) * np.linalg.det(right)]) @ right
    return quaternion_from_matrix(turn), residual


def mount_from_recording(cells: Cells) -> MountResult:
    """From a recording that holds just the two poses, level first.

    Raises:
        InputError: other than two poses, clipped, or their angle is far from 90 degrees.
    """
    poses = poses_held(cells)
    if len(poses) != 2:
        found = f"{len(poses)} still poses of {LEAST_POSE_S:g} s, not two"
        why = f" ({refusal_hint(cells, IN_HAND)})" if not poses else ""
        raise InputError(f"holds {found}{why}", do=f"record just two: {_HOW}")
    level, down = poses
    quaternion, residual = mount_from_poses(level.force_m_s2, down.force_m_s2)
    if abs(residual) > _WORST_RESIDUAL_DEG:
        raise InputError(
            f"the two poses stand at {90 + residual:.1f} deg to each other, not at 90",
            do=f"{_HOW}; with an uncalibrated accelerometer run 'calibrate six-face' first",
        )
    return MountResult(
        quaternion=quaternion,
        residual_deg=residual,
        sigma_deg=float(np.hypot(HELD_SIGMA_DEG, residual / 2)),
        level_m_s2=level.force_m_s2,
        down_m_s2=down.force_m_s2,
        level_s=(level.start_s, level.end_s),
        down_s=(down.start_s, down.end_s),
    )


def poses_held(cells: Cells) -> list[Still]:
    """The poses that a bow was held in for 2 s and more, in order; the same one twice in a row counts once."""
    return _distinct(still_stretches(cells, IN_HAND, LEAST_POSE_S))


def _distinct(found: list[Still]) -> list[Still]:
    """Neighbours in the same pose are one: the longer stands for both."""
    poses: list[Still] = []
    for still in found:
        if poses and _angle_deg(poses[-1].force_m_s2, still.force_m_s2) < _SAME_DEG:
            poses[-1] = max(poses[-1], still, key=lambda s: s.duration_s)
        else:
            poses.append(still)
    return poses


def _angle_deg(a: Floats, b: Floats) -> float:
    return float(np.rad2deg(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))


def quaternion_from_matrix(matrix: Floats) -> Floats:
    """x y z w of a rotation matrix, w >= 0: the largest of four squares first (Shepperd 1978), so none is lost."""
    m = matrix
    trace = float(np.trace(m))
    squares = np.array([1 + 2 * m[0, 0] - trace, 1 + 2 * m[1, 1] - trace, 1 + 2 * m[2, 2] - trace, 1 + trace])
    i = int(np.argmax(squares))
    q = np.empty(4)
    if i == 3:
        q[:] = (m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1], squares[3])
    else:
        j, k = (i + 1) % 3, (i + 2) % 3
        q[i], q[j], q[k], q[3] = squares[i], m[j, i] + m[i, j], m[k, i] + m[i, k], m[k, j] - m[j, k]
    q /= np.linalg.norm(q)
    return q if q[3] >= 0 else -q
