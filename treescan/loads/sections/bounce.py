"""How do a limb and the climber on their rope swing together, and how much does the rhythm of an ascent add?

Two masses in a row: the limb's m_l on its stiffness k_l, the climber's m on the rope's k_r = n K / L.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from treescan.loads.sections.deflection import displacements
from treescan.wood.graph import Floats


@dataclass(frozen=True)
class Spring:
    """A tie-in point as one spring with one mass, both as the climber's rope sees them. [N/m], [kg]"""

    stiffness: float
    mass: float

    def geared(self, multiple: float) -> Spring:
        """The same where the rope passes its pull on `multiple` times over, as a basal rope does: the climber
        moves as many times as far as the tie-in point."""
        return Spring(self.stiffness / multiple**2, self.mass / multiple**2)


def tie_in_spring(
    points: Floats, radius: Floats, mass: Floats, moe: float, shear_modulus: float, direction: Floats
) -> Spring:
    """Stiffness and effective mass at the far end of a chain of points (k, 3) that starts at the ground.

    Parameters
    ----------
    radius : (k,) float         Of the segment down from every point. [m]
    mass : (k,) float           Of the wood that moves with every point, side limbs included. [kg]
    direction : (3,) float      In which the rope pulls.

    Notes
    -----
    k = 1 / u, u the movement under 1 N along the direction; m = sum of m_i |u_i|^2 / u^2: the kinetic energy
    of the limb in the shape of that load (Rayleigh; memory). The turning of what stands beyond the tie-in is
    left out.
    """
    d = np.asarray(direction, float) / np.linalg.norm(direction)
    force = np.zeros_like(points)
    force[-1] = d
    parent = np.arange(-1, len(points) - 1, dtype=np.int32)
    u, _ = displacements(points, parent, radius, moe, shear_modulus, force, np.zeros_like(points))
    give = max(float(u[-1] @ d), 1e-12)
    return Spring(1.0 / give, float(mass @ np.einsum("ki,ki->k", u, u)) / give**2)


def two_masses(limb: Spring, rope: ArrayLike, climber: float) -> tuple[Floats, Floats]:
    """Lower and upper natural frequency of limb and climber in a row, (l,) each, for rope stiffnesses (l,)
    [N/m] and a climber's mass [kg]. [Hz]"""
    k = np.asarray(rope, float)
    a, b = (limb.stiffness + k) / max(limb.mass, 1e-9), k / climber
    middle, part = 0.5 * (a + b), limb.stiffness * k / (max(limb.mass, 1e-9) * climber)
    high = middle + np.sqrt(np.maximum(middle**2 - part, 0.0))
    return np.sqrt(part / high) / (2 * np.pi), np.sqrt(high) / (2 * np.pi)


def amplified(limb: Spring, rope: ArrayLike, climber: float, cadence: ArrayLike, damping: float) -> Floats:
    """Movement of the tie-in under the climber's rhythm over that of the same force at rest, (l, c), for rope
    stiffnesses (l,) [N/m] and cadences (c,) [Hz]; damping of either mode as a share of the critical.

    Notes
    -----
    The climber pushes himself up, the rope carries it to the limb: modes of the two masses under a harmonic
    force on the climber, x_l = sum of phi_l phi_c F / (w^2 - q^2 + 2 i z w q) (Den Hartog 1956, memory).
    """
    k = np.asarray(rope, float)[:, None]
    q = 2 * np.pi * np.asarray(cadence, float)[None]
    mass = max(limb.mass, 1e-9)
    total = np.zeros(np.broadcast_shapes(k.shape, q.shape), complex)
    for frequency in two_masses(limb, k[:, 0], climber):
        w = 2 * np.pi * frequency[:, None]
        share = (limb.stiffness + k - mass * w**2) / k
        # phi = (1, share), scaled so that m_l + m share^2 = 1
        size = mass + climber * share**2
        total += share / size / (w**2 - q**2 + 2j * damping * w * q)
    return np.asarray(np.abs(total) * limb.stiffness, float)
