"""Removal, stage by stage, and rescue."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hands import S, plain_tree, ranked, throw, tree
from strategies import alone, random_tree

from treescan.errors import BadInput
from treescan.loads.fall.backup import common_node
from treescan.outputs.text.say import say
from treescan.planning.candidates.candidates import candidate_unions
from treescan.planning.climb.rescue import corridor, corridors, rescue_plan, two_person_margin
from treescan.planning.reach.sightline import Scene
from treescan.planning.sets.independent import independent
from treescan.planning.work.removal import (
    Cut,
    Removal,
    cut_limb,
    cut_stem,
    dies_with,
    piece_mass,
    spar_diameters,
    stages,
)
from treescan.planning.work.work_points import default_work, limb_of_work
from treescan.reason import Reason, has


def as_networkx(graph):
    return nx.DiGraph((int(p), i) for i, p in enumerate(graph.parent) if p >= 0)


@pytest.mark.parametrize("seed", range(5))
def test_anchors_die_exactly_when_a_cut_is_below_them(seed):
    """An anchor goes with a cut when the cut node is an ancestor of the wood it bears on (networkx), and
    only then."""
    graph = random_tree(seed, height=18, limbs=14)
    points = [
        p for p in ranked(graph, [throw(graph, k, 0.4) for k in candidate_unions(graph, S)]) if p.usable
    ]
    ways = as_networkx(graph)
    rng = np.random.default_rng(seed)
    for node in rng.integers(1, len(graph), 25):
        above = nx.descendants(ways, int(node)) | {int(node)}
        for p in points:
            bearing = {int(p.check.configuration.rest_node), int(graph.unions.node[p.union])}

            assert dies_with(graph, p, graph.above(int(node))) == bool(bearing & above)


def test_each_anchor_is_lost_once_and_never_comes_back():
    """Over all stages every usable anchor is either lost at one stage or still standing at the end."""
    graph = random_tree(1, height=18, limbs=14)
    points = ranked(graph, [throw(graph, k, 0.4) for k in candidate_unions(graph, S)])
    first = [
        cut_limb(graph, int(k))
        for k in graph.unions.arm_limb[graph.unions.laterals(len(graph.unions) - 1)][:1]
    ]
    plan = stages(
        graph,
        Removal(
            (
                *first,
                cut_stem(graph, 12.0),
                cut_stem(graph, 8.0),
                cut_stem(graph, 3.0),
            )
        ),
        points,
        1000.0,
        S,
    )
    lost = [name for s in plan for name in s.lost]
    usable = [f"{p.label} {p.system}" for p in points if p.usable]

    assert len(lost) == len(set(lost))
    assert sorted(lost + list(plan[-1].left)) == sorted(usable)
    for before, after in pairwise(plan):
        assert set(after.left) == set(before.left) - set(after.lost)


def test_pieces_add_up_to_the_tree():
    """The masses of all pieces and the stump sum to the whole tree: nothing is weighed twice."""
    graph = random_tree(2, height=18, limbs=14)
    plan = stages(
        graph,
        Removal(
            (
                cut_stem(graph, 12.0),
                cut_stem(graph, 6.0),
                cut_stem(graph, 1.0),
            )
        ),
        [],
        900.0,
        S,
    )
    stump = ~graph.above(plan[-1].cut.node)
    whole = piece_mass(graph, np.ones(len(graph), bool), 900.0, S).median

    assert sum(s.mass.median for s in plan) + piece_mass(graph, stump, 900.0, S).median == pytest.approx(
        whole
    )


def test_mass_of_a_plain_stem_is_volume_times_density():
    """A cylinder of 0.2 m radius and 14 m at 1000 kg/m3 weighs pi r^2 L rho; density scatter alone spreads
    it by its own share."""

    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.2, 0.2), sd=0.0)
    m = piece_mass(graph, np.ones(len(graph), bool), 1000.0, replace(S, crown_allowance=0.0))

    assert m.median == pytest.approx(np.pi * 0.04 * 14 * 1000, rel=1e-9)
    assert m.p5 == pytest.approx(m.median * np.exp(-1.645 * S.green_density_sd))


def test_life_support_on_the_piece_is_an_alarm():
    """Hanging on the piece that is cut, or on wood already gone, is called out at that very stage."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    limb = int(graph.unions.arm_limb[graph.unions.laterals(2)[0]])
    plan = stages(
        graph, Removal((cut_limb(graph, limb), cut_stem(graph, 9.0)), ("U03", "U03")), points, 900.0, S
    )

    assert Reason("support_on_piece", union="U03") in plan[0].alarms
    assert Reason("support_gone", union="U03") in plan[1].alarms


def test_life_support_and_rigging_on_one_union_is_an_alarm():
    """The rigging block and the climber on the same union are called out; on different limbs they are not."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    cut = cut_limb(graph, int(graph.unions.arm_limb[graph.unions.laterals(2)[0]]))
    node = graph.unions.node
    (same,) = stages(graph, Removal((cut,), ("U02",), (int(node[1]),)), points, 900.0, S)
    (other,) = stages(graph, Removal((cut,), ("U02",), (int(node[0]),)), points, 900.0, S)

    assert Reason("support_shares_rigging", union="U02") in same.alarms
    assert not other.alarms


def test_spar_and_last_anchor_are_announced():
    """When every limb is off the stage is a spar; when no anchor is left that is said."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    cuts = [cut_limb(graph, int(graph.unions.arm_limb[graph.unions.laterals(k)[0]])) for k in (2, 1, 0)]
    plan = stages(graph, Removal(tuple(cuts)), points, 900.0, S)

    assert [s.spar for s in plan] == [False, False, True]
    assert [has(s.reasons(), "cut_leaves_spar") for s in plan] == [False, False, True]
    assert [has(s.alarms, "cut_no_anchor_left") for s in plan] == [False, False, True]
    assert spar_diameters(graph)[5][1] == pytest.approx(2 * (0.25 - 0.17 * 5 / 14), abs=0.01)


def test_a_cut_that_takes_nothing_is_refused():
    """Cutting a limb that an earlier cut took is bad input, and so is a cut above the top."""
    graph = plain_tree()
    with pytest.raises(BadInput, match="takes nothing off"):
        stages(
            graph,
            Removal(
                (
                    cut_stem(graph, 6.0),
                    cut_stem(graph, 9.0),
                )
            ),
            [],
            900.0,
            S,
        )
    with pytest.raises(BadInput, match="cannot be cut at"):
        cut_stem(graph, 40.0)


@pytest.mark.parametrize("seed", range(3))
def test_common_node_is_the_lowest_common_ancestor(seed):
    """Where two ways to the ground meet is networkx's lowest common ancestor."""
    graph = random_tree(seed)
    ways = as_networkx(graph)
    rng = np.random.default_rng(seed)
    for a, b in rng.integers(0, len(graph), (20, 2)):
        assert common_node(graph.parent, int(a), int(b)) == nx.lowest_common_ancestor(ways, int(a), int(b))


def test_rescue_hangs_on_other_wood_and_holds_two():
    """The rescue anchor is independent of the work anchor and its margin under two people passes the gate."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    beside = alone(graph)
    work = default_work(graph, beside, S)
    plan = rescue_plan(
        graph,
        points[0],
        points,
        work,
        corridors(graph, Scene.of(graph, beside), work, limb_of_work(graph, work), S),
        S,
    )
    (rescuer,) = [p for p in points if f"{p.label} {p.system}" == plan.rescue_anchor]

    assert independent(graph, points[0], rescuer)
    assert plan.two_person_margin == two_person_margin(rescuer) >= S.margin_gate
    assert len(plan.corridors) == points[0].reach.served.sum()


def test_no_rescue_anchor_is_said_plainly():
    """With margins that do not carry two, no rescue anchor is named and the words say not to climb."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)], median=2.0)
    beside = alone(graph)
    work = default_work(graph, beside, S)
    plan = rescue_plan(
        graph,
        points[0],
        points,
        work,
        corridors(graph, Scene.of(graph, beside), work, limb_of_work(graph, work), S),
        S,
    )

    assert plan.rescue_anchor is None
    assert Reason("rescue_none", anchor=points[0].name) in plan.reasons
    assert "do not climb" in say(Reason("rescue_none", anchor=points[0].name))


def test_lowering_corridor_meets_the_limb_below():
    """Straight down from the upper limb the lower one on the same side blocks; on the other side the way is
    clear."""

    graph = tree(
        ([[0, 0, 0], [0, 0, 14]], 0.2, 0.1),
        ([[0, 0, 5], [4, 0, 5.5]], 0.08, 0.05),
        ([[0, 0, 10], [3, 0, 11]], 0.06, 0.04),
    )
    scene = Scene.of(graph, alone(graph))
    room = replace(S, corridor_radius=0.4, push_off=1.0)
    over = corridor(graph, scene, "a", np.array([3.0, 0, 11]), -1, room)
    free = corridor(graph, scene, "b", np.array([0.0, 3, 9]), -1, room)

    assert "U01" in say(over.blocked_by)
    assert over.clear == pytest.approx(11 - 5.375 - 0.065 - 0.4, abs=0.25)
    assert free.free and free.clear == free.height == pytest.approx(9)


def test_cut_carries_its_label():
    """A cut keeps the crew's own name for the piece letter for letter; one without a name is told by what it
    is."""
    mine, plain = cut_limb(plain_tree(), 1, "north lead <fork|crotch> [2]"), cut_stem(plain_tree(), 9.0)
    assert mine == Cut(int(plain_tree().limbs.nodes[1][0]), "north lead <fork|crotch> [2]")
    assert (
        say(Reason("rigging_on_piece", piece=mine.piece))
        == "The rigging point is on the piece that is cut: north lead <fork|crotch> [2]."
    )
    assert plain.piece == Reason("cut_stem", height=9.0)
    assert say(plain.piece) == "the stem above 9.0 m (29.5 ft)"
