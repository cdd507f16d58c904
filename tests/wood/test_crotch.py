"""The crotch: where a rope lies in a fork. By hand on straight limbs."""

import numpy as np
import pytest
from wood.clouds import make

from treescan.wood.topology.crotch import crotches


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
