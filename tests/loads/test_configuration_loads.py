"""What a configuration puts on the wood for many places of the climber at once is what the rope solver says for each of them."""

import numpy as np
import pytest
from loads.by_hand import tensions

from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.loads.rope.contacts import Contact, supports_of
from treescan.loads.rope.rope_run import Supports, taut_rope
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
    found = configuration_loads("SRS basal", "rope on bark", cs, BASE, 0.0, work, settings)
    legs = found.leg_forces()
    mu = 0.0 if bound == "frictionless" else settings.mu_bark[0]
    for row, place in enumerate(found.pulls.place):
        run = taut_rope(BASE, place, supports_of(cs), hung=True)
        tension = tensions(run, float(found.pulls.tension[row]), mu)
        assert legs[row].sum(axis=1) == pytest.approx(run.contact_forces(tension), abs=1e-8)
        assert list(found.touches[row]) == list(run.touches)
        first, last = np.flatnonzero(run.touches)[[0, -1]]
        base_pull = tension[0] * (BASE - run.arrive[first]) / np.linalg.norm(BASE - run.arrive[first])
        climber = tension[-1] * (place - run.leave[last]) / np.linalg.norm(place - run.leave[last])
        assert np.abs(legs[row].sum(axis=(0, 1)) - base_pull - climber).max() < 1e-9 * tension.max()


def steep(rng):
    """A limb at 65 to 89 degrees with the wanted union, and a further support below it anywhere beside the stem."""
    slope, azimuth, axis = np.radians(rng.uniform(65, 89)), rng.uniform(0, 2 * np.pi), np.append(rng.normal(size=2), rng.uniform(-0.2, 0.3))
    up = np.array([np.cos(slope) * np.cos(azimuth), np.cos(slope) * np.sin(azimuth), np.sin(slope)])
    top = Contact(5, np.array([0.4, 0.0, 9.0]), up, rng.uniform(0.05, 0.1), 0.0, 0.1)
    place = np.array([rng.uniform(-1.2, 1.6), rng.uniform(-1, 1), rng.uniform(5.5, 8.6)])
    return Contact(6, place, axis / np.linalg.norm(axis), 0.07, 0.0, 0.1), top


def test_every_leg_is_tangent_where_the_union_is_steep():
    """The rope turns in the crotch of a steep limb: it leaves the support below as a tangent, toward the crotch, and the forces there are
    those of a rope over a pin of no thickness in the crotch; 300 random steep unions, 600 rows."""
    rng = np.random.default_rng(0)
    settings, crotched = LoadSettings(cases=("at rest",)), 0
    for _ in range(300):
        via, top = cs = steep(rng)
        base = np.array([rng.uniform(-2.5, 2.5), rng.uniform(-2, 2), 0.5])
        work = np.array([[rng.uniform(-2, 2), rng.uniform(-2, 2), 5.5]])
        found = configuration_loads("SRS basal", "rope on bark", cs, base, 0.0, work, settings)
        bars = supports_of(cs)
        crotch = top.point + bars.top[-1] * top.radius
        assert found.touches[:, -1].all()
        for row, place in enumerate(found.pulls.place):
            if found.touches[row, 0]:
                out = found.leg_point[row, 0] - via.point
                out -= (out @ via.axis)[:, None] * via.axis
                assert np.abs(np.sum(out * found.leg_toward[row, 0], axis=1)).max() < 1e-9
            tension, legs = found.pulls.tension[row], found.leg_forces()[row]
            here = found.leg_point[row]
            first = here[0, 0] if found.touches[row, 0] else here[1, 0]
            ends = sum((end - at) / np.linalg.norm(end - at) for end, at in ((base, first), (place, here[1, 1])))
            assert np.abs(legs.sum(axis=(0, 1)) / tension - ends).max() < 1e-9
            if np.abs(here[1] - crotch).max() < 1e-12:
                crotched += 1
                across = np.cross(place - crotch, (via.point if found.touches[row, 0] else base) - crotch)
                pin = Supports.of([via.point, crotch], [via.axis, across], [via.radius, 1e-9], top=[(0, 0, 1.0), bars.top[-1]])
                run = taut_rope(base, place, pin)
                if run.touches[1] and run.touches[0] == found.touches[row, 0]:
                    assert legs.sum(axis=1) == pytest.approx(run.contact_forces(np.full(3, tension)), abs=1e-6 * tension)
    assert crotched > 40


def test_choked_rope_does_not_twist_the_limb():
    """The eye of a choke lies on the loaded side: the pull passes through the limb's axis."""
    (c,) = contacts(np.random.default_rng(0), 1)
    found = configuration_loads("SRS canopy", "rope on bark", (c,), BASE, 0.0, c.point + np.array([[0.5, 1.0, -3.0]]), LoadSettings())
    for row in range(len(found.pulls.place)):
        arm = found.leg_point[row, 0, 1] - c.point
        assert abs(np.cross(arm, found.leg_forces()[row, 0, 1]) @ c.axis) < 0.03 * np.linalg.norm(found.leg_forces()[row, 0, 1]) * c.radius


def test_moving_rope_shares_between_its_legs():
    """Both legs of a moving rope carry half, and no twist comes on the limb."""
    (c,) = contacts(np.random.default_rng(1), 1)
    found = configuration_loads("MRS", "rope on bark", (c,), BASE, 0.0, c.point + np.array([[0.2, 0.6, -3.0]]), LoadSettings())
    legs, points = found.leg_forces()[:, 0], found.leg_point[:, 0]
    assert np.linalg.norm(legs[:, 0], axis=1) == pytest.approx(np.linalg.norm(legs[:, 1], axis=1))
    twist = np.cross(points - c.point, legs).sum(axis=1) @ c.axis
    assert np.abs(twist).max() < 1e-6 * found.pulls.tension.max()
