"""Where the rope bears: outside the parent's bark, where the sections of the tree begin."""

import numpy as np
import pytest
from strategies import random_tree

from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.contacts import line_out, union_contact
from treescan.loads.sections.tree_sections import _section_points


@pytest.mark.parametrize("seed", range(4))
def test_the_rope_bears_beyond_the_bark_the_sections_are_counted_from(seed):
    """On every arm of every union of a random tree the rope lies `out` beyond the point of the first section that counts, and never
    nearer to it than the least lever."""
    graph = random_tree(seed, limbs=14, height=16, dbh=0.5)
    point, counted, _ = _section_points(graph)
    u = graph.unions
    compared = 0
    for union in range(len(u)):
        for arm in range(*u.arms(union).indices(len(u.arm_node))):
            node = int(u.arm_node[arm])
            r = AnchorConfiguration(union, "MRS", "rope on bark", node, 0.3, np.zeros(0, np.int32), np.zeros(3))
            line = line_out(graph, int(u.node[union]), node)
            if len(line) == 0 or not counted[line].any():
                continue
            first = int(np.argmax(counted[line]))
            bark = graph.length[line[:first]].sum() + np.linalg.norm(point[line[first]] - graph.xyz[graph.parent[line[first]]])
            own = 2 * graph.segment_radius[line[first]]
            end = graph.length[line].sum()
            found = union_contact(graph, r)
            assert found.out == pytest.approx(min(max(0.3, bark + 0.5 * own), end) - bark, abs=1e-9)
            compared += 1
    assert compared > 10


def test_reach_and_pictures_take_the_rope_where_the_forces_do():
    """Planning's place of the rope is the contact the loads are told for, on every arm of a random tree."""
    from treescan.planning.candidates.contact import contact_point

    graph = random_tree(7, limbs=14, height=16, dbh=0.5)
    u = graph.unions
    for union in range(len(u)):
        for arm in range(*u.arms(union).indices(len(u.arm_node))):
            r = AnchorConfiguration(union, "MRS", "ring", int(u.arm_node[arm]), 0.2, np.zeros(0, np.int32), np.zeros(3))
            assert contact_point(graph, r) == pytest.approx(union_contact(graph, r).point, abs=1e-12)
