"""What is told of a slip, against a body followed in time."""

import numpy as np
import pytest
from hands import tree

from oracles.swing_with_body import swing
from treescan.loads.settings import LoadSettings
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.swing import slips
from treescan.trees.beside import Beside, Terrain


def test_feet_under_the_ground_are_told():
    """Tie-in 7 m up, 6.4 m of rope, 50 degrees out (tests/oracles/swing_with_body): the harness stays 0.6 m up as the rope lies, the feet
    strike the ground long before the lowest point, faster than the harness."""
    graph = tree(([[0, 0, 0], [0, 0, 8]], 0.03, 0.02), ([[0, 0, 3], [0, 4, 3.2]], 0.03, 0.02))
    scene, anchor, out = Scene.of(graph, Beside(Terrain.flat(0.0))), np.array([0.0, 0.6, 7.0]), np.deg2rad(50)
    start = anchor + 6.4 * np.array([np.sin(out), 0, -np.cos(out)])
    body = swing(100.0, 7.0, 6.4, out, 30e3)
    (s,) = slips(graph, scene, anchor, start[None], np.array([-1], np.int32), 0.3, 1.0)

    assert body.lowest_feet < -0.3
    assert s.met and s.hits.code == "hits_feet_first"
    t, _, _, x, z = body.path.T  # speed of the body's feet where they come to the ground
    at = int(np.argmax(z < 0.0))
    assert s.speed >= 0.9 * np.hypot(x[at + 1] - x[at - 1], z[at + 1] - z[at - 1]) / (t[at + 1] - t[at - 1])


@pytest.mark.parametrize(("length", "out"), [(5.0, 30.0), (8.0, 45.0), (12.0, 45.0), (8.0, 20.0)])
def test_swing_force_and_low_point_hold_those_of_a_body_followed_in_time(length, out):
    """No rope pull and no feet of a rigid body on an elastic rope go beyond what is told."""
    graph = tree(([[0, 0, 0], [0, 0, 22]], 0.03, 0.02), ([[0, 0, 3], [0, 4, 3.2]], 0.03, 0.02))
    anchor, angle = np.array([0.0, 0.6, 21.0]), np.deg2rad(out)
    start = anchor + length * np.array([np.sin(angle), 0, -np.cos(angle)])
    scene = Scene.of(graph, Beside(Terrain.flat(0.0)))
    body = swing(100.0, 21.0, length, angle, 30e3)
    (s,) = slips(graph, scene, anchor, start[None], np.array([-1], np.int32), 0.3, 1.0)

    assert s.hits.code == "hits_nothing_seen"
    assert s.path[:, 2].min() - 1.0 <= body.lowest_feet + 0.03
    assert s.speed >= 0.98 * body.fastest_feet
    assert s.force * 100 * 9.80665 >= 0.99 * body.rope_peak


def test_the_factor_on_the_force_holds_every_body_followed():
    """Rod over point mass on 3 to 12 m of rope, 20 to 60 degrees, from the softest to the stiffest rope: within 1.5 % of what is counted."""
    most = 0.0
    for modulus in (19.6e3, 30e3, 41.2e3):
        for degrees in (20, 45, 60):
            for length in (3.0, 8.0, 12.0):
                a = np.deg2rad(degrees)
                most = max(most, swing(100.0, 50.0, length, a, modulus).rope_peak / (100 * 9.80665 * (3 - 2 * np.cos(a))))
    assert LoadSettings().swing_body / 1.05 < most < 1.015 * LoadSettings().swing_body
