"""Dead suspects: broken ends and bare limbs among leaves, and what must not be called so."""

import numpy as np
from wood.clouds import FORK, bark_points, make, tree_of

from treescan.wood.build import build_graph
from treescan.wood.graph import DEAD_SUSPECT
from treescan.wood.quality.deadwood import bare, broken, with_dead_suspects

TIP = FORK.xyz[FORK.limbs.nodes[1][-1]]
NONE = np.zeros((0, 3))
STEM = ((0, 0, 0), (0, 0, 6.0), 0.20, 0.06, None)
SIDES = [((0, 0, 0), (1.8 * np.cos(a), 1.8 * np.sin(a), 3.0 + 0.6 * k), 0.04, 0.01, (0, 0.4 + 0.1 * k)) for k, a in enumerate((0.0, 2.1, 4.2, 1.0))]


def round_limb(graph, k, per_m=300, seed=1):
    """Leaf points round the outer half of one limb."""
    rng = np.random.default_rng(seed)
    nodes = graph.limbs.nodes[k]
    nodes = nodes[len(nodes) // 2 :]
    return graph.xyz[rng.choice(nodes, int(per_m * graph.length[nodes].sum()))] + rng.normal(0, 0.1, (int(per_m * graph.length[nodes].sum()), 3))


def test_blunt_end_with_nothing_beyond_is_a_suspect():
    """A short limb that ends 8 cm thick in empty air is called a dead suspect at its union."""
    g = build_graph(tree_of(bark_points(FORK)))

    assert DEAD_SUSPECT in g.unions.flags[0]


def test_twigs_beyond_the_end_take_the_suspicion_away():
    """The same limb with twigs beyond its last modelled piece is not called so."""
    twigs = TIP + np.random.default_rng(0).normal(0, 0.12, (400, 3)) + 0.15 * FORK.direction[FORK.limbs.nodes[1][-1]]

    assert broken(FORK, bark_points(FORK), NONE)[1]
    assert not broken(FORK, bark_points(FORK), twigs)[1]
    assert DEAD_SUSPECT not in with_dead_suspects(FORK, bark_points(FORK), twigs).unions.flags[0]


def test_tapering_limb_is_no_suspect():
    """A limb that runs out thin is no suspect although nothing lies beyond it."""
    g = make(STEM, *SIDES)

    assert not broken(g, bark_points(g), NONE).any()


def test_bare_limb_among_leaves_is_a_suspect():
    """Of four like limbs one without leaves is suspected while the others are in leaf; on a bare tree none is."""
    g = make(STEM, *SIDES)
    leaf = np.concatenate([round_limb(g, k) for k in (2, 3, 4)] + [round_limb(g, 0)])

    assert bare(g, NONE, leaf).tolist() == [False, True, False, False, False]
    assert not bare(g, NONE, NONE).any()
