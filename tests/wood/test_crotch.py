"""The crotch: where a rope lies in a fork. By hand on straight limbs."""

from dataclasses import replace

import numpy as np
import pytest
from wood.clouds import make

from treescan.planning.candidates.contact import in_the_union
from treescan.wood.topology.crotch import crotch_along, crotches


@pytest.mark.parametrize("angle", [20, 35, 60, 90, 110])
@pytest.mark.parametrize(("stem", "limb"), [(0.10, 0.10), (0.15, 0.06), (0.12, 0.09)])
def test_the_crotch_lies_on_both_barks(angle, stem, limb):
    """On an upright stem of radius R with a limb of radius r at angle t: R aside and (r + R cos t) / sin t up from where the axes meet."""
    t = np.radians(angle)
    fork = make(((0, 0, 0), (0, 0, 8), stem, stem, None)).xyz[41]
    end = fork + 3 * np.array([np.sin(t), 0.0, np.cos(t)])
    graph = make(((0, 0, 0), (0, 0, 8), stem, stem, None), ((0, 0, 0), tuple(end), limb, limb, (0, 0.5)))
    found = crotches(graph)[0]

    assert graph.unions.place[0] == pytest.approx(fork)
    assert found == pytest.approx(fork + np.array([stem, 0.0, (limb + stem * np.cos(t)) / np.sin(t)]), abs=1e-4)


def test_a_fork_that_hangs_and_one_whose_arms_do_not_part_have_no_crotch():
    """Both arms fall away: no rope lies there. Two arms side by side, 6 cm apart and 10 cm thick, have nothing between them."""
    hanging = make(
        ((0, 0, 0), (0, 0, 3), 0.1, 0.1, None), ((0, 0, 0), (2, 0, 3), 0.06, 0.06, (0, 1)),
        ((0, 0, 0), (3, 0.6, 2), 0.04, 0.04, (1, 1)), ((0, 0, 0), (3, -0.6, 2), 0.035, 0.035, (1, 1)),
    )  # fmt: skip
    beside = make(
        ((0, 0, 0), (0, 0, 2), 0.1, 0.1, None), ((0, 0, 0), (0.03, 0, 2.9), 0.05, 0.05, (0, 1)), ((0, 0, 0), (-0.03, 0, 2.9), 0.05, 0.05, (0, 1))
    )
    below = [k for k in range(len(hanging.unions)) if hanging.unions.place[k][0] > 1.5]

    assert below and np.isnan(crotches(hanging)[below]).all()
    assert np.isnan(crotches(beside)).all()


def test_the_crotch_of_several_limbs_is_that_of_the_thickest():
    """A stem with two limbs at one place: the rope lies by the thicker one."""
    graph = make(
        ((0, 0, 0), (0, 0, 8), 0.1, 0.1, None), ((0, 0, 0), (2, 0, 6), 0.06, 0.06, (0, 0.5)), ((0, 0, 0), (-2, 0, 6), 0.04, 0.04, (0, 0.5))
    )
    assert crotches(graph)[0][0] > 0.05


def test_a_rope_lies_as_far_out_on_either_arm_as_its_crotch():
    """On an upright stem of radius R with a limb of radius r at angle t: (R + r cos t) / sin t out on the limb, (r + R cos t) / sin t up
    the stem. A third limb has no part in it."""
    t = np.radians(35)
    graph = make(
        ((0, 0, 0), (0, 0, 8), 0.15, 0.15, None), ((0, 0, 0), tuple(np.array([0, 0, 4.1]) + 3 * np.array([np.sin(t), 0, np.cos(t)])), 0.06, 0.06, (0, 0.5)),
        ((0, 0, 0), (-2, 0, 6), 0.04, 0.04, (0, 0.5)),
    )  # fmt: skip
    u = graph.unions
    arm = {int(u.arm_limb[k]): k for k in range(u.arms(0).start, u.arms(0).stop)}
    thin = next(k for limb, k in arm.items() if u.arm_diameter[k] < 0.1)
    (on,) = (k for k in arm.values() if u.arm_continues[k])
    (side,) = set(arm.values()) - {on, thin}

    assert crotch_along(graph, 0, side) == pytest.approx((0.15 + 0.06 * np.cos(t)) / np.sin(t), abs=1e-3)
    assert crotch_along(graph, 0, on) == pytest.approx((0.06 + 0.15 * np.cos(t)) / np.sin(t), abs=1e-3)
    assert np.isnan(crotch_along(graph, 0, thin))
    assert in_the_union(graph, 0, side) == crotch_along(graph, 0, side)


def test_where_there_is_no_crotch_the_rope_is_drawn_where_the_axes_meet():
    """And in the crotch where there is one."""
    graph = make(((0, 0, 0), (0, 0, 8), 0.1, 0.1, None), ((0, 0, 0), (2, 0, 6), 0.06, 0.06, (0, 0.5)))
    without = replace(graph.unions, crotch=np.full((1, 3), np.nan))

    assert graph.unions.rope_place(0).tolist() == graph.unions.crotch[0].tolist() != graph.unions.place[0].tolist()
    assert without.rope_place(0).tolist() == without.place[0].tolist()
