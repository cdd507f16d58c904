"""The worked example of limb loading: Arboriculture Australia 2022, Tree Rescue Manual, p. 123, recomputed.

A limb 5 m long rises at 45 degrees; the rope over its end is pulled with 1 kN. With the legs parallel, at 45 and at 90 degrees to each
other, the resultant stands at 45, 22.5 and 0 degrees to the limb and bends its foot with 7.1, 3.5 and 0 kN m (7.07, 3.54, 0).
"""

import numpy as np
import pytest
from validation.handbook import resultant

from treescan.loads.sections.section_stress import section_forces

LIMB = np.array([np.cos(np.pi / 4), 0.0, np.sin(np.pi / 4)])


def foot(between_deg):
    """Moment at the limb's foot and resultant for one angle between the legs; one leg hangs plumb, the other turns toward the stem."""
    b = np.deg2rad(between_deg)
    legs = 1000.0 * np.array([[0.0, 0.0, -1.0], [-np.sin(b), 0.0, -np.cos(b)]])
    found = section_forces(
        np.zeros((1, 3)), LIMB[None], np.ones((1, 2), bool), np.tile(5.0 * LIMB, (1, 2, 1)), legs[None]
    )
    return found, legs.sum(axis=0)


@pytest.mark.parametrize(("between", "to_limb", "moment"), [(0, 45.0, 7.07), (45, 22.5, 3.54), (90, 0.0, 0.0)])
def test_redirect_example(between, to_limb, moment):
    """The moments printed in the manual come out for all three angles between the legs."""
    found, force = foot(between)
    angle = np.degrees(np.arccos(np.clip(-force @ LIMB / np.linalg.norm(force), -1, 1)))
    assert angle == pytest.approx(to_limb, abs=1e-5)
    assert np.linalg.norm(force) == pytest.approx(float(resultant(1000, 1000, np.deg2rad(between))))
    assert found.bending[0, 0] / 1000 == pytest.approx(moment, abs=0.005)


def test_inclined_limb():
    """A limb of 0.8 m at 40 degrees with 1500 N hanging: 919.25 N m and 964.18 N of compression at its foot (computed)."""
    axis = np.array([np.cos(np.deg2rad(40)), 0.0, np.sin(np.deg2rad(40))])
    found = section_forces(np.zeros((1, 3)), axis[None], np.ones((1, 1), bool), 0.8 * axis[None, None], np.array([[[0, 0, -1500.0]]]))
    assert found.bending[0, 0] == pytest.approx(919.25333, rel=1e-6)
    assert found.axial[0, 0] == pytest.approx(-964.18141, rel=1e-6)
