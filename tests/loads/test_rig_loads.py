"""What a rig puts on the wood for many places of the climber at once is what the rope solver says for each of them."""

import numpy as np
import pytest

from treescan.loads.contacts import Contact, supports_of
from treescan.loads.rig_loads import rig_loads
from treescan.loads.rope_run import taut_rope
from treescan.loads.settings import LoadSettings

BASE = np.array([0.3, -2.0, 1.0])


def contacts(rng, count):
    """Supports from the base up to the union, some of which the taut rope clears."""
    out = []
    for i in range(count):
        x, z = 0.5 + 0.7 * i, 4.0 + 1.2 * i + rng.uniform(-0.8, 0.8)
        axis = np.array([1.0, rng.uniform(-0.3, 0.3), rng.uniform(-0.2, 0.3)])
        out.append(Contact(5, np.array([x, 0.3 * i, z]), axis / np.linalg.norm(axis), rng.uniform(0.05, 0.15), -0.01, 0.1))
    return tuple(out)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("bound", ["frictionless", "friction"])
def test_many_places_equal_one_at_a_time(seed, bound):
    """Forces on every contact equal those of the single rope, touched or cleared, and balance the two rope ends to 1e-9."""
    rng = np.random.default_rng(seed)
    settings = LoadSettings(basal_bound=bound, rope_angle_limit_deg=60.0)
    cs = contacts(rng, int(rng.integers(1, 5)))
    work = cs[-1].point + np.column_stack([rng.uniform(-1.5, 1.5, 20), rng.uniform(0.3, 2, 20), rng.uniform(-5, -2, 20)])
    found = rig_loads("SRS basal", "rope on bark", cs, BASE, 0.0, work, settings)
    legs = found.leg_forces()
    mu = 0.0 if bound == "frictionless" else settings.mu_bark[0]
    for row, place in enumerate(found.pulls.place):
        run = taut_rope(BASE, place, supports_of(cs))
        tension = run.tensions(float(found.pulls.tension[row]), mu)
        assert legs[row].sum(axis=1) == pytest.approx(run.contact_forces(tension), abs=1e-8)
        assert list(found.touches[row]) == list(run.touches)
        first, last = np.flatnonzero(run.touches)[[0, -1]]
        base_pull = tension[0] * (BASE - run.arrive[first]) / np.linalg.norm(BASE - run.arrive[first])
        climber = tension[-1] * (place - run.leave[last]) / np.linalg.norm(place - run.leave[last])
        assert np.abs(legs[row].sum(axis=(0, 1)) - base_pull - climber).max() < 1e-9 * tension.max()


def test_choked_rope_does_not_twist_the_limb():
    """The eye of a choke lies on the loaded side: the pull passes through the limb's axis."""
    (c,) = contacts(np.random.default_rng(0), 1)
    found = rig_loads("SRS canopy", "rope on bark", (c,), BASE, 0.0, c.point + np.array([[0.5, 1.0, -3.0]]), LoadSettings())
    for row in range(len(found.pulls.place)):
        arm = found.leg_point[row, 0, 1] - c.point
        assert abs(np.cross(arm, found.leg_forces()[row, 0, 1]) @ c.axis) < 0.03 * np.linalg.norm(found.leg_forces()[row, 0, 1]) * c.radius


def test_moving_rope_shares_between_its_legs():
    """Both legs of a moving rope carry half, and no twist comes on the limb."""
    (c,) = contacts(np.random.default_rng(1), 1)
    found = rig_loads("MRS", "rope on bark", (c,), BASE, 0.0, c.point + np.array([[0.2, 0.6, -3.0]]), LoadSettings())
    legs, points = found.leg_forces()[:, 0], found.leg_point[:, 0]
    assert np.linalg.norm(legs[:, 0], axis=1) == pytest.approx(np.linalg.norm(legs[:, 1], axis=1))
    twist = np.cross(points - c.point, legs).sum(axis=1) @ c.axis
    assert np.abs(twist).max() < 1e-6 * found.pulls.tension.max()
