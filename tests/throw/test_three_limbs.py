"""A tree with three limbs, the answer worked out by hand, step by step.

Stem upright at (0, 0), radius 0.15, 10 m high. Three level limbs of radius 0.05:

- A (union U01) at 4 m, 3 m long, to the east,
- B (union U02) at 6 m, 3 m long, to the east-north-east: it passes through (1.2, 1.2 tan 30 deg), 30 degrees north of east,
- C (union U03) at 8 m, 2 m long, to the west.

The thrower stands 5 m south of the line x = 1: feet (1, -5, 0), hand at 1.5 m, and throws due north, so the plane is x = 1 and s = y + 5.

1. A crosses the plane at (s, z) = (5, 4), top at 4.05. B crosses it where y = tan 30 deg = 0.577: (5.577, 6), top at 6.05.
   C never does (x <= 0); the stem does not (x = 0).
2. No drag, no line: at 60 degrees and v the flight is z = 1.5 + 1.732 s - 9.80665 s^2 / (2 v^2 0.25).
   v = 11: z(5) = 1.5 + 8.660 - 4.053 = 6.107 > 4.05 and z(5.577) = 1.5 + 9.660 - 5.042 = 6.118:
   B's axis is 0.118 below it; the bag clears 0.05 + 0.03 only as far as the slope allows: at s = 5.577 the slope is
   1.732 - 9.80665 x 5.577 / (121 x 0.25) = -0.076, so the distance is 0.118 x cos(4.3 deg) = 0.117 > 0.08: it passes over both.
3. v = 9.5: z(5) = 10.160 - 5.433 = 4.727 (over A by 0.68), z(5.577) = 11.160 - 6.760 = 4.400 < 6: under B. Lands at z = 0:
   1.5 + 1.732 s - 0.21732 s^2 = 0, s = (1.732 + sqrt(3 + 4 x 0.21732 x 1.5)) / (2 x 0.21732) = 8.760.
   Only A is under the line: class 1 for U01, nothing for U02.
4. v = 11 again: A and B are under the line. For U02: A lies 0.577 nearer than B and ends 0.05 + ... clear of B's strip, so it is a near limb:
   one working from the near side, if the way down on B's near side is clear: class 2. B crosses at 60 degrees to the plane's
   normal ... its half width along s is 0.05 / cos 30 deg = 0.0577; the shaft is at 5.577 - 0.0577 - 0.03 - 0.05 = 5.439, A reaches to
   5.05 + 0.03: clear.
   For U01: B is a far limb: one working back over it; A's far shaft is at 5 + 0.05 + 0.03 + 0.05 = 5.13, B is higher than A's
   axis and is never in the way: class 2 too.
5. Taut over both, the line leaves the hand (0, 1.5) with slope k and touches B's slice, an ellipse 0.0577 wide and 0.05 high to each side:
   5.577 k - 4.5 = sqrt(0.0577^2 k^2 + 0.05^2), so k = 0.8192; at s = 5 it is at 1.5 + 4.096 = 5.596 > 4.05: A does not bear. Highest support is B, so a line left as it fell would hang in U02.
6. Bag to come down over B alone (near leg from the hand at atan(4.55 / 5.577) = 39.2 deg, then plumb): beta = 129.2 deg at most;
   with the line's 2 g/m and mu 0.3: 0.002 x 4.55 x exp(0.3 x 2.255) = 0.0179 kg, far below 0.34 kg.
"""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, scene_of, upright

from treescan.throw.ballistics.flight import flights
from treescan.throw.detail.followed import follow_throw
from treescan.throw.detail.settled import settled_line
from treescan.throw.outcome.bag_mass import min_bag_mass
from treescan.throw.outcome.many_throws import table_throws, throw_many
from treescan.throw.scene.plane import CROSSINGS
from treescan.throw.settings import ThrowSettings

SETTINGS = dataclasses.replace(ThrowSettings(), drag=0.0, line_density=0.0, reach_along=1.5)
TREE = upright([Limb(4.0, EAST), Limb(6.0, np.radians(60)), Limb(8.0, -EAST, length=2.0)])
FEET = np.array([1.0, -5.0, 0.0])
A, B, C = 0, 1, 2


def _thrown(speed):
    table = flights([np.radians(60)], [speed], SETTINGS)
    return table, follow_throw(scene_of(TREE, SETTINGS), FEET, 0.0, table.height[0], float(table.step[0]))


def _class(speed, union):
    table = flights([np.radians(60)], [speed], SETTINGS)
    throws = table_throws(np.array([0.0]), table.height, table.step, np.array([[0]], np.int32))
    return int(throw_many(scene_of(TREE, SETTINGS), FEET, throws, union).isolation[0, 0])


def test_the_unions_are_the_three_drawn():
    """U01 at 4 m, U02 at 6 m, U03 at 8 m."""
    assert TREE.unions.label == ("U01", "U02", "U03")
    assert TREE.unions.height == pytest.approx([4.0, 6.0, 8.0])


def test_step_1_where_the_limbs_pierce_the_plane():
    """A at (5, 4), top 4.05; B at (5.577, 6), top 6.05; nothing else."""
    _, flown = _thrown(11.0)
    crossings = flown.plane.cross[: flown.plane.counts[CROSSINGS]]

    assert crossings[:, :3] == pytest.approx(np.array([[5.0, 4.0, 4.05], [5 + np.tan(np.radians(30)), 6.0, 6.05]]), abs=1e-6)
    assert crossings[1, 3] == pytest.approx(0.05 / np.cos(np.radians(30)), rel=1e-6)


def test_steps_2_and_3_what_lies_under_the_line():
    """11 m/s: over both, near end first. 9.5 m/s: over A alone, down at s = 8.760."""
    _, fast = _thrown(11.0)
    _, slow = _thrown(9.5)
    scene = scene_of(TREE, SETTINGS)

    assert [int(scene.wood.union[fast.plane.cross_item[c]]) for c in fast.over] == [A, B]
    assert [int(scene.wood.union[slow.plane.cross_item[c]]) for c in slow.over] == [A]
    assert slow.s_end == pytest.approx(8.760, abs=2e-3)


@pytest.mark.parametrize(("speed", "union", "answer"), [(9.5, A, 1), (9.5, B, 0), (11.0, A, 2), (11.0, B, 2), (11.0, C, 0), (8.0, A, 0)])
def test_steps_3_and_4_the_classes(speed, union, answer):
    """Clean over A when slow; over both, each can be worked clean; C is never served; 8 m/s falls short of A."""
    assert _class(speed, union) == answer


def test_step_5_the_line_as_it_fell_bears_on_the_higher_limb_alone():
    """Hand, top of B, ground: A lies 1.5 m under the line."""
    _, flown = _thrown(11.0)
    line, crossings = settled_line(scene_of(TREE, SETTINGS), flown, int(flown.over[1]), (int(flown.over[0]),), False, False)

    assert [crossings[k] for k in line.order] == [int(flown.over[1])]
    assert np.interp(5.0, *line.points.T) == pytest.approx(5.596, abs=1e-3)
    assert line.points[:, 1].max() == pytest.approx(6.05, abs=1e-3)


def test_step_6_the_bag_that_comes_down():
    """2 g/m x 4.55 m x exp(0.3 x 129.2 deg) = 18 g."""
    turning = np.arctan2(4.55, 5.577) + np.pi / 2

    assert min_bag_mass(0.002, 4.55, 0.3, turning) == pytest.approx(0.0179, abs=1e-4)
