"""What every climber is taught about anchors. Common practice, no source, except where a manual is named.

Arboriculture Australia 2022, Tree Rescue Manual, p. 86: a basal anchor puts close to 2x on the suspension point, may run over several
unions and need not be isolated; a canopy anchor is a single load and must be isolated for most set-ups.
"""

import numpy as np
import pytest
from loads.stick_trees import checked, configuration, tree

from treescan.loads.rope.rope_systems import SYSTEMS


@pytest.fixture(scope="module")
def oak():
    return tree([(8.0, 0, 40, 3.0, 0.16, 0.08), (5.0, 20, 30, 3.0, 0.14, 0.06)])


def test_basal_anchor_bears_just_under_twice(oak):
    """With both legs close to plumb the union bears more than 1.9 and less than 2 times what hangs on the rope."""
    (check,) = checked(oak, [configuration(oak, "U02", "SRS basal")])
    assert 1.9 < check.multiple_of_weight < 2.0


@pytest.mark.parametrize("system", ["MRS", "SRS canopy"])
def test_canopy_anchor_bears_once(oak, system):
    """A moving rope and a rope fixed at the union load it with what hangs on it, once."""
    (check,) = checked(oak, [configuration(oak, "U02", system)])
    assert check.multiple_of_weight == pytest.approx(1.0, abs=1e-3)


def test_friction_figure_is_information_only(oak):
    """Friction would lighten a basal anchor (about 1.4 times at mu 0.3), but the judged force does not count on it."""
    (check,) = checked(oak, [configuration(oak, "U02", "SRS basal")])
    assert check.friction_multiple == pytest.approx(1.39, abs=0.05)
    assert check.multiple_of_weight > 1.9


def test_only_canopy_systems_need_isolation():
    """Isolated lines are asked for where the rope is choked or runs over the union, not for a basal anchor."""
    assert SYSTEMS["SRS canopy"].isolated
    assert SYSTEMS["MRS"].isolated
    assert not SYSTEMS["SRS basal"].isolated


def test_base_leg_far_out_lightens_the_union(oak):
    """The wider the angle between the legs, the less the union bears: 2 cos(half the angle)."""
    near, far = checked(oak, [configuration(oak, "U02", "SRS basal", base=(x, 0.0, 0.0)) for x in (1.0, 9.0)])
    for check, x in ((near, 1.0), (far, 9.0)):
        rope = np.arctan2(x - 0.25, 8.0)
        assert check.multiple_of_weight == pytest.approx(2 * np.cos(rope / 2), abs=0.02)
    assert far.multiple_of_weight < near.multiple_of_weight


def test_rope_out_along_the_limb_is_worse(oak):
    """Leverage: the same rope a metre out leaves far less margin than in the union (manual, p. 81)."""
    inner, outer = checked(oak, [configuration(oak, "U02", "MRS", distance=d) for d in (0.2, 1.2)])
    assert outer.check.margin.p5 < 0.6 * inner.check.margin.p5


def test_pre_load_adds(oak):
    """Tension left in the anchor leg by the load test raises the force on the union above twice the weight (Kane 2020, UFUG 51)."""
    without, with_it = (checked(oak, [configuration(oak, "U02", "SRS basal")], cases=("at rest",), preload=p)[0] for p in (0.0, 1.6))
    assert without.multiple_of_weight < 2.0
    assert with_it.multiple_of_weight == pytest.approx(2.6, abs=0.05)


def test_every_support_of_a_basal_line_is_loaded(oak):
    """A line over two unions loads both, each by its own turning; the forces of all contacts and both rope ends cancel."""
    lower = oak.unions.index("U01")
    via = [int(oak.unions.arm_node[oak.unions.laterals(lower)[0]]) + 1]
    (check,) = checked(oak, [configuration(oak, "U02", "SRS basal", via=via, base=(6.0, 2.0, 0.5))], cases=("at rest",))
    sizes = np.linalg.norm(check.contact_forces, axis=1)
    assert len(sizes) == 2
    assert (sizes > 50).all()
    assert check.contact_forces[0] == pytest.approx(check.force)


@pytest.mark.parametrize("slope", [-25, 0, 30, 60, 75, 85, 89])
@pytest.mark.parametrize("base", [(0.25, 0.0, 1.0), (-0.25, 0.0, 1.0), (0.0, 3.0, 0.0)])
def test_no_slope_of_the_limb_makes_the_load_vanish(slope, base):
    """Hanging plumb, the union of a basal anchor bears nearly both legs and that of a canopy anchor one, however steep the limb."""
    graph = tree([(8.0, 0, slope, 3.0, 0.16, 0.10)])
    basal, moving, fixed = checked(graph, [configuration(graph, "U01", s, base=base) for s in ("SRS basal", "MRS", "SRS canopy")], cases=("ascent",))
    assert basal.multiple_of_weight == pytest.approx(2.0, abs=0.1)
    assert moving.multiple_of_weight == pytest.approx(1.0, abs=0.01)
    assert fixed.multiple_of_weight == pytest.approx(1.0, abs=0.01)
    assert basal.force[2] < 0
