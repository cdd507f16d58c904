"""How does one scan turn and shift onto another? A rotation and a shift, nothing stretched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RigidMotion:
    """xyz becomes rotation @ xyz + shift.

    Attributes
    ----------
    rotation : (3, 3) float
    shift : (3,) float      [m]
    """

    rotation: Floats
    shift: Floats

    def __call__(self, xyz: Floats) -> Floats:
        """Moved points, (n, 3). [m]"""
        return xyz @ self.rotation.T + self.shift

    def after(self, first: RigidMotion) -> RigidMotion:
        """This motion done after another."""
        return RigidMotion(self.rotation @ first.rotation, self.rotation @ first.shift + self.shift)

    @property
    def tilt(self) -> float:
        """How far the vertical leans over. [rad]"""
        return float(np.arctan2(np.hypot(*self.rotation[:2, 2]), self.rotation[2, 2]))

    @property
    def turn(self) -> float:
        """Turn about the vertical, counter-clockwise seen from above, what is left of it without the tilt.
        [rad]"""
        return float(
            np.arctan2(self.rotation[1, 0] - self.rotation[0, 1], self.rotation[0, 0] + self.rotation[1, 1])
        )

    def largest_move(self, xyz: Floats) -> float:
        """The farthest any of the points goes. [m]"""
        return float(np.linalg.norm(self(xyz) - xyz, axis=1).max(initial=0.0))


STILL = RigidMotion(np.eye(3), np.zeros(3))
"""No motion at all."""


def turned(angle: float, shift: Floats) -> RigidMotion:
    """A turn about the vertical through zero [rad], counter-clockwise seen from above, then a shift (3,)
    [m]."""
    c, s = np.cos(angle), np.sin(angle)
    return RigidMotion(np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]), np.asarray(shift, float))


def small_turn(vector: Floats) -> Floats:
    """Rotation matrix of a rotation vector (3,) [rad], by Rodrigues' formula."""
    angle = float(np.linalg.norm(vector))
    if angle == 0.0:
        return np.eye(3)
    x, y, z = vector / angle
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)
