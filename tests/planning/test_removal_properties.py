"""What holds of every removal: no order of the same cuts hides an alarm of the same state; nothing drawn twice lowers a distance."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hands import S, ranked, throw
from hypothesis import given, settings
from hypothesis import strategies as st
from loads.stick_trees import PLAIN
from strategies import alone, random_tree

from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.planning.reach.clearances import clearances_at, conductors
from treescan.planning.removal.removal_plan import removal_plan
from treescan.planning.settings import Approach
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal, cut_limb, cut_stem
from treescan.planning.work.work_points import default_work
from treescan.trees.beside import Conductor, Site


def world(seed, limbs=10):
    graph = random_tree(seed, height=18, limbs=limbs)
    points = ranked(graph, [throw(graph, k, 0.4) for k in range(min(8, len(graph.unions)))])
    return graph, points, whole_tree(graph, alone(graph), PLAIN, LoadSettings(samples=400))


def planned(graph, points, model, removal, site=None):
    context = TreeContext(graph, alone(graph), site or Site(), default_work(graph, alone(graph), S), S)
    return removal_plan(context, points, removal, PLAIN.density, model)


def plain(value):
    """A finding as plain data, figures to nine digits."""
    if hasattr(value, "code"):
        return (value.code, tuple(sorted((k, plain(v)) for k, v in value.values.items())))
    if isinstance(value, tuple):
        return tuple(plain(v) for v in value)
    return f"{value:.9g}" if isinstance(value, float) else str(value)


def apart(graph, count):
    """Limbs off the stem that do not carry each other."""
    return [k for k in range(1, len(graph.limbs)) if graph.limbs.parent[k] == 0 and len(graph.limbs.nodes[k]) > 2][:count]


@pytest.mark.parametrize("seed", range(3))
def test_no_order_of_the_cuts_hides_an_alarm_of_the_same_state(seed):
    """Three limbs in every order, then one more cut: whatever hangs and wherever the block is, the last stage says the same: alarms,
    strengths, block, swing and distances."""
    graph, points, model = world(seed)
    limbs, top = apart(graph, 4), float(graph.xyz[graph.limbs.nodes[0], 2].max())
    if len(limbs) < 4:
        pytest.skip("too few limbs")
    first, last = [cut_limb(graph, k) for k in limbs[:3]], (cut_limb(graph, limbs[3]), cut_stem(graph, 0.6 * top))[seed % 2]
    rng = np.random.default_rng(seed)
    life = points[int(rng.integers(len(points)))].label
    block = int(graph.unions.node[int(rng.integers(len(graph.unions)))])
    site = Site(conductors=(Conductor(rng.uniform(-6, 6, (2, 3)) + np.array([0, 0, 9.0]), 20e3),), roads=(rng.uniform(-5, 5, (1, 2)) + np.array([[0, 0], [4, 0], [4, 4], [0, 4.0]]),))
    found = {
        tuple(plain(r) for r in planned(graph, points, model, Removal((*order, last), ("", "", "", life), (-1, -1, -1, block)), site)[-1].reasons())
        for order in permutations(first)
    }

    assert len(found) == 1


@pytest.mark.parametrize("seed", range(2))
def test_an_alarm_about_what_is_gone_never_goes_again(seed):
    """Once life support or block are gone, every later cut that names them says so."""
    graph, points, model = world(seed)
    top = float(graph.xyz[graph.limbs.nodes[0], 2].max())
    cuts = tuple(cut_stem(graph, share * top) for share in (0.7, 0.5, 0.3, 0.1))
    k = int(np.argmax(graph.unions.height))
    plan = planned(graph, points, model, Removal(cuts, (graph.unions.label[k],) * 4, (int(graph.unions.node[k]),) * 4))
    gone = [any(a.code in {"support_gone", "support_on_piece"} for a in s.alarms) for s in plan]
    block = [any(a.code in {"rigging_gone", "rigging_on_piece"} for a in s.alarms) for s in plan]

    assert gone == sorted(gone) and gone[-1]
    assert block == sorted(block) and block[-1]


WIRES = st.lists(
    st.tuples(*[st.floats(-12, 12) for _ in range(4)], st.floats(0.5, 20), st.floats(0.5, 20)), min_size=1, max_size=3
)


@given(WIRES, st.floats(-8, 8), st.floats(1, 6))
@settings(max_examples=15, deadline=None)
def test_no_site_feature_lowers_a_distance_when_added_twice(wires, x, wide):
    """Wires and areas once, twice, and with others beside: each distance stays what it was, at tie-in points and at pieces; another
    feature only adds findings."""
    graph, points, _ = TREE
    lines = tuple(Conductor(np.array([[a, b, z0], [c, d, z1]]), 20e3) for a, b, c, d, z0, z1 in wires)
    lane = np.array([[x, -9.0], [x + wide, -9.0], [x + wide, 9.0], [x, 9.0]])
    cut = Removal((cut_limb(graph, apart(graph, 1)[0]),))

    def told(site):
        (stage,) = planned(graph, points, None, cut, site)
        room = [r for r in (*stage.alarms, *stage.room) if r.code.startswith("piece_")]
        at = clearances_at(points[0].place, np.zeros((0, 3)), np.zeros((0, 3)), conductors(site, alone(graph)), Approach())
        return room, [c.distance for c in at]

    once, at_once = told(Site(conductors=lines, roads=(lane,)))
    twice, at_twice = told(Site(conductors=lines * 2, roads=(lane,) * 2))

    def figures(found):
        return sorted((r.code, round(r["stands"], 9), round(r["turned"], 9)) for r in found)

    assert at_twice == at_once * 2
    assert figures(twice) == sorted(figures(once) * 2)


TREE = world(3)
