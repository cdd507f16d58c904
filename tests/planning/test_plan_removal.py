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
from treescan.planning.ranking.overrides import Override, with_overrides
from treescan.planning.reach.clearances import conductors
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.work_scene import limb_of_work
from treescan.planning.removal.pieces import farthest_bark, piece_mass, wood_of
from treescan.planning.removal.stages import spar_diameters, stages
from treescan.planning.sets.independent import independent
from treescan.planning.settings import Approach
from treescan.planning.work.piece_room import near_conductors, over_areas
from treescan.planning.work.removal import Removal, cut_limb, cut_stem, taken
from treescan.planning.work.stage_alarms import dies_with, may_hang
from treescan.planning.work.work_points import default_work
from treescan.reason import Reason, has
from treescan.trees.beside import Area, Conductor, Site


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
    """Over all stages every anchor that holds is either lost at one stage or still standing at the end."""
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
    usable = [f"{p.label} {p.system}" for p in points if may_hang(p)]

    assert len(lost) == len(set(lost))
    assert sorted(lost + list(plan[-1].left)) == sorted(usable)
    for before, after in pairwise(plan):
        assert set(after.left) == set(before.left) - set(after.lost)


def test_pieces_add_up_to_the_tree():
    """The masses of all pieces and the stump sum to the whole tree: nothing is weighed twice. Twigs are weighed with the tips only."""
    graph = random_tree(2, height=18, limbs=14)
    bare = replace(S, crown_allowance=0.0)
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
        bare,
    )
    low = plan[-1].cut
    stump = (~graph.above(low.node)).astype(float)
    stump[low.node] = low.share
    whole = piece_mass(graph, np.ones(len(graph), bool), 900.0, bare).median

    assert sum(s.mass.median for s in plan) + piece_mass(graph, stump, 900.0, bare, np.where(stump > 0, stump, 1.0)).median == pytest.approx(
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

    (shared,) = [a for a in same.alarms if a.code == "support_shares_rigging"]
    assert shared["union"] == "U02"
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
    assert mine.label == mine.piece == "north lead <fork|crotch> [2]"
    assert (
        say(Reason("rigging_on_piece", piece=mine.piece))
        == "The rigging point is on the piece that is cut: north lead <fork|crotch> [2]."
    )
    assert plain.piece == Reason("cut_stem", height=9.0)
    assert say(plain.piece) == "the stem above 9.0 m (29.5 ft)"


def leaders():
    """A stem that forks at 4 m into two leaders of like thickness (order 0), each with two limbs half a metre apart."""
    return tree(
        ([[0, 0, 0], [0, 0, 4], [2, 0, 12]], 0.25, 0.08),
        ([[0, 0, 4], [-2, 0, 12]], 0.17, 0.07),
        ([[1, 0, 8], [1, 2.5, 9.5]], 0.08, 0.04),
        ([[1.125, 0, 8.5], [1.2, -2.5, 10]], 0.08, 0.04),
        ([[-1, 0, 8], [-1, 2.5, 9.5]], 0.08, 0.04),
    )


def one_stage(graph, points, life, rigging=-1, cut=None, others=()):
    top = cut if cut is not None else cut_stem(graph, 11.5)
    (stage,) = stages(graph, Removal((top,), (life,), (rigging,)), points, 900.0, S, others=others)
    return stage


def union_near(graph, xyz):
    return int(np.argmin(np.linalg.norm(graph.unions.place - np.array(xyz, float), axis=1)))


def test_rigging_half_a_metre_beside_the_climber_on_one_leader_is_an_alarm():
    """On a leader of order 0 as on any limb; on the other leader it is none. It was silent before."""
    graph = leaders()
    climber, beside, other = (union_near(graph, at) for at in ([1, 0, 8], [1.125, 0, 8.5], [-1, 0, 8]))
    assert len({climber, beside, other}) == 3
    assert graph.limbs.order[graph.limb[graph.unions.node[climber]]] == 0
    points = ranked(graph, [throw(graph, k) for k in range(len(graph.unions))])
    life = graph.unions.label[climber]
    near, far = (one_stage(graph, points, life, int(graph.unions.node[k])) for k in (beside, other))

    assert has(near.alarms, "support_shares_rigging")
    assert not has(far.alarms, "support_shares_rigging")
    assert "load the same wood" in say(near.alarms[0])


@pytest.mark.parametrize(("median", "code"), [(1.0, "support_refused"), (6.0, None)])
def test_life_support_on_what_does_not_hold_is_an_alarm(median, code):
    """The verdict of that very union counts: an anchor that is not ranked was passed over in silence before."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)], median=median)
    stage = one_stage(graph, points, "U02")

    assert [a.code for a in stage.alarms if a.code.startswith("support")] == ([code] if code else [])


def test_life_support_on_a_refused_or_doubted_union_is_an_alarm():
    """Refused by a competent person: her words stand in the alarm letter for letter; only to be inspected first: said too."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    said = Override("refused", "A. Example", "crack <fork|crotch> [2], 8.5 ft up", "10:15", union="U02")
    after = with_overrides(graph, points, [said], S, 1).points
    refused = one_stage(graph, after, "U02")
    doubted = [p if p.label != "U02" else replace(p, doubts=(Reason("may_be_too_thin", stem=False, asked=0.1, diameter=0.1, sd=0.01),)) for p in points]

    assert [a.code for a in refused.alarms] == ["support_refused"]
    assert "crack <fork|crotch> [2], 8.5 ft up" in say(refused.alarms[0]) and "A. Example" in say(refused.alarms[0])
    assert has(one_stage(graph, doubted, "U02").alarms, "support_doubtful")


def test_life_support_that_was_never_judged_and_in_another_tree():
    """A union without any anchor in the list is said; an anchor drawn in another tree is accepted and said to be judged elsewhere; any other name
    is refused."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])

    assert has(one_stage(graph, [p for p in points if p.label != "U02"], "U02").alarms, "support_never_judged")
    assert one_stage(graph, points, "beech fork", others=("beech fork",)).alarms == (Reason("support_in_other_tree", anchor="beech fork"),)
    assert "“beech fork”" in say(Reason("support_in_other_tree", anchor="beech fork"))
    with pytest.raises(BadInput, match="beech fork"):
        one_stage(graph, points, "beech fork")


def test_one_anchor_of_a_union_may_be_named():
    """"U02 MRS" is judged alone."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    bad = [replace(p, gates=(Reason("dead_suspect"),)) if p.name == "U02 MRS" else p for p in points]
    idle = [replace(p, gates=(Reason("serves_no_work"),)) if p.name == "U02 MRS" else p for p in points]

    assert has(one_stage(graph, bad, "U02 MRS").alarms, "support_refused")
    assert not has(one_stage(graph, points, "U02 MRS").alarms, "support_refused")
    assert not has(one_stage(graph, idle, "U02 MRS").alarms, "support_refused")  # it holds, though no rope from it serves the work


def test_rigging_that_is_gone_or_on_refused_wood_is_an_alarm():
    """A block on a union that came off before, or on one that a competent person refused."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    node = int(graph.unions.node[2])
    plan = stages(graph, Removal((cut_stem(graph, 10.0), cut_stem(graph, 6.0)), ("", ""), (-1, node)), points, 900.0, S)
    after = with_overrides(graph, points, [Override("refused", "A", "soft", "now", union="U03")], S, 1).points

    assert has(plan[1].alarms, "rigging_gone")
    assert has(one_stage(graph, after, "", node).alarms, "rigging_on_refused")


def test_no_order_of_the_cuts_hides_an_alarm_of_the_same_state():
    """Whatever order brought the tree to a state, the next stage's alarms on support and rigging are the same."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    limbs = [cut_limb(graph, int(graph.unions.arm_limb[graph.unions.laterals(k)[0]])) for k in range(3)]
    last, node = cut_stem(graph, 6.0), int(graph.unions.node[1])
    for life in ("U01", "U02", "U03"):
        found = [
            stages(graph, Removal((*order, last), ("", "", life), (-1, -1, node)), points, 900.0, S)[-1].alarms
            for order in ((limbs[1], limbs[2]), (limbs[2], limbs[1]))
        ]
        assert found[0] == found[1]


def cone(r, length, rest):
    """Volume of a truncated cone: pi L (R^2 + R r + r^2) / 3."""
    return np.pi * length * (r * r + r * rest + rest * rest) / 3


def test_a_removal_of_four_cuts_solved_by_hand():
    """A stem of 14 m tapering from 0.25 to 0.08 m; a level limb of 4 m, 0.10 to 0.02 m in radius, leaves it at 5 m.

    By hand, at 1000 kg/m3 without twigs:
    1. the limb beyond 2 m from the bark: the stem's radius at 5 m is 0.25 - 0.17 x 5/14 = 0.1893, so the saw goes 2.1893 m from the axis; the
       limb's radius there 0.1 - 0.08 x 2.1893/4 = 0.0562; a cone of 1.8107 m, 0.0562 to 0.02,
    2. the rest of the limb from the bark: a cone of 2 m, 0.0962 to 0.0562,
    3. the stem above 9.1 m: 0.1395 to 0.08 over 4.9 m,
    4. the stem above 2.3 m: 0.2221 to 0.1395 over 6.8 m; the limb's 0.1893 m inside the stem's bark count once, as stem.
    """
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08), ([[0, 0, 5], [4, 0, 5]], 0.10, 0.02), step=0.1)
    bark = 0.25 - 0.17 * 5 / 14
    limb, stem = (lambda s: 0.1 - 0.08 * s / 4), (lambda z: 0.25 - 0.17 * z / 14)
    bare = replace(S, crown_allowance=0.0)
    cuts = (cut_limb(graph, 1, at=2.0), cut_limb(graph, 1), cut_stem(graph, 9.1), cut_stem(graph, 2.3))
    plan = stages(graph, Removal(cuts), [], 1000.0, bare)
    by_hand = [
        1000 * cone(limb(bark + 2), 4 - bark - 2, 0.02),
        1000 * cone(limb(bark), 2.0, limb(bark + 2)),
        1000 * cone(stem(9.1), 4.9, 0.08),
        1000 * cone(stem(2.3), 6.8, stem(9.1)),
    ]

    assert [s.mass.median for s in plan] == pytest.approx(by_hand, rel=0.02)
    assert sum(s.mass.median for s in plan) == pytest.approx(sum(by_hand), rel=0.01)
    assert [s.height for s in plan] == pytest.approx([5, 5, 9.1, 2.3], abs=1e-6)
    assert [s.length for s in plan[:3]] == pytest.approx([4 - bark - 2, 2.0, 4.9], abs=0.11)
    assert plan[0].diameter == pytest.approx(2 * limb(bark + 2), abs=0.003)
    assert plan[1].diameter == pytest.approx(2 * limb(bark), abs=0.012)
    assert plan[3].diameter == pytest.approx(2 * stem(2.3), abs=0.003)
    a, b, length = limb(bark + 2), 0.02, 4 - bark - 2
    arm = length / 4 * (a * a + 2 * a * b + 3 * b * b) / (a * a + a * b + b * b)
    assert plan[0].moment == pytest.approx(by_hand[0] * 9.80665 * arm, rel=0.04)
    assert plan[2].moment == pytest.approx(0.0, abs=1e-6)


def test_cuts_on_a_limb_in_the_wrong_order_or_off_its_end_are_refused():
    """The same limb first at 1 m, then at 2 m; farther out than it is long; at a height that it does not reach."""
    graph = plain_tree()
    with pytest.raises(BadInput, match="takes nothing off"):
        stages(graph, Removal((cut_limb(graph, 1, at=1.0), cut_limb(graph, 1, at=2.0))), [], 900.0, S)
    with pytest.raises(BadInput, match=r"m long from the bark"):
        cut_limb(graph, 1, at=9.0)
    with pytest.raises(BadInput, match="a height that the limb reaches"):
        cut_limb(graph, 1, height=13.0)
    assert cut_limb(graph, 1, height=6.5).place(graph)[2] == pytest.approx(6.5)


def test_the_twigs_of_a_limb_hang_at_its_tip():
    """A limb in two pieces: the tip bears the twigs of all of it, the log between none; together they weigh what the limb does in one piece."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08), ([[0, 0, 5], [4, 0, 5]], 0.10, 0.02), step=0.1)

    def masses(cuts, allowance):
        return [s.mass.median for s in stages(graph, Removal(cuts), [], 900.0, replace(S, crown_allowance=allowance))]

    two = cut_limb(graph, 1, at=2.0), cut_limb(graph, 1)
    bare, told, whole = masses(two, 0.0), masses(two, 0.25), masses(two[1:], 0.25)

    assert told[1] == pytest.approx(bare[1])
    assert told[0] == pytest.approx(bare[0] + 0.25 * sum(bare))
    assert sum(told) == pytest.approx(whole[0])


def test_a_block_on_a_union_whose_limb_came_off_is_an_alarm():
    """Nothing there keeps the sling from sliding; while the limb stands it is none."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    k = 1
    limb, node = int(graph.unions.arm_limb[graph.unions.laterals(k)[0]]), int(graph.unions.node[k])
    before, after = stages(graph, Removal((cut_limb(graph, limb), cut_stem(graph, 11.5)), ("", ""), (node, node)), points, 900.0, S)

    assert not has(before.alarms, "rigging_limb_gone")
    assert has(after.alarms, "rigging_limb_gone")


def test_the_length_of_a_log_ends_at_the_earlier_cut():
    """Between 9.05 and 4 m: 5.05 m, not to the next node."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08), step=0.5)
    plan = stages(graph, Removal((cut_stem(graph, 9.05), cut_stem(graph, 4.0))), [], 900.0, S)

    assert plan[1].length == pytest.approx(5.05)


def test_twigs_are_weighed_with_the_tips_only():
    """A log between two cuts carries no twigs; the top does."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08))
    cuts = Removal((cut_stem(graph, 10.0), cut_stem(graph, 4.0)))
    with_twigs, without = (stages(graph, cuts, [], 900.0, replace(S, crown_allowance=a)) for a in (0.25, 0.0))

    assert with_twigs[0].mass.median == pytest.approx(1.25 * without[0].mass.median)
    assert with_twigs[1].mass.median == pytest.approx(without[1].mass.median)


def wood_off(graph, cut):
    """The wood that one cut takes off a whole tree."""
    whole = np.ones(len(graph))
    return wood_of(graph, taken(graph, cut, whole), whole)


def test_the_wood_of_a_piece_runs_from_saw_to_saw():
    """A log between 9.05 and 4.3 m on nodes half a metre apart: its wood ends there, not at the nodes, with the taper's radii; the farthest bark is
    the far edge of the upper end."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.28, 0.0), step=0.5)
    first, second = cut_stem(graph, 9.05), cut_stem(graph, 4.3)
    left = 1 - taken(graph, first, np.ones(len(graph)))
    log = wood_of(graph, taken(graph, second, left), left)

    assert (log.start[:, 2].min(), log.end[:, 2].max()) == pytest.approx((4.3, 9.05))
    assert (log.r_start.max(), log.r_end.min()) == pytest.approx((0.28 * (1 - 4.3 / 14), 0.28 * (1 - 9.05 / 14)))
    assert farthest_bark(log, second.place(graph)) == pytest.approx(np.hypot(9.05 - 4.3, 0.28 * (1 - 9.05 / 14)))


def test_wood_inside_the_parent_is_no_part_of_a_piece():
    """A level limb to the west of a stem of 25 cm radius, a lane that begins 1 m east of its axis: the limb begins at the bark, 1.25 m away less its own
    radius at the most, and not at the axis."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.25), ([[0, 0, 5], [-4, 0, 5]], 0.05, 0.02), sd=0.0, step=0.1)
    lane = np.array([[1.0, -9.0], [6.0, -9.0], [6.0, 9.0], [1.0, 9.0]])
    cut = cut_limb(graph, 1)
    (near,), _ = over_areas(wood_off(graph, cut), cut.place(graph), 3.75, (Area("road", "", lane),))

    assert 1.25 - 0.051 < near["stands"] <= 1.25


def test_a_piece_tells_its_distance_to_wire_and_lane():
    """A vertical top of 4 m, cut at 10 m, beside a wire level with the cut 6 m off and a lane whose edge is 3 m off: as it stands 6 m less its
    radius there, turned about the cut 2 m; a lane 6 m off and a wire 30 m off raise no alarm but are told."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08), sd=0.0)
    cut, approach = cut_stem(graph, 10.0), Approach()
    wires = conductors(Site(conductors=tuple(Conductor(np.array([[x, -50.0, 10.0], [x, 50.0, 10.0]]), 20e3, "mill line") for x in (6.0, 30.0))), alone(graph))
    near, told_of = near_conductors(wood_off(graph, cut), cut.place(graph), 4.0, wires, approach)
    lane, far = (np.array([[-x, -9.0], [-x - 3, -9.0], [-x - 3, 9.0], [-x, 9.0]]) for x in (3.0, 6.0))
    areas = Area("road", "Beech Lane", lane), Area("road", "", far)
    over, apart = over_areas(wood_off(graph, cut), cut.place(graph), 4.0, areas)

    (told,) = near
    assert told["stands"] == pytest.approx(6 - (0.25 - 0.17 * 10 / 14), abs=0.01)
    assert told["turned"] == pytest.approx(2.0)
    assert "mill line" in say(told)
    assert [(r["name"], r["turned"], r["over"]) for r in over] == [("Beech Lane", 0.0, False)]
    assert over[0]["stands"] == pytest.approx(3 - (0.25 - 0.17 * 10 / 14), abs=0.01)
    assert [r["turned"] for r in apart] == [pytest.approx(2.0)]
    assert [r["turned"] for r in told_of] == [pytest.approx(26.0)]


def test_a_piece_that_hangs_over_a_lane_stands_over_it():
    """A level limb of 4 m whose tip lies over a lane that begins 3 m from the stem: 0 m as it stands, not the distance from the saw cut."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08), ([[0, 0, 5], [4, 0, 5]], 0.1, 0.02), sd=0.0)
    cut, lane = cut_limb(graph, 1), np.array([[3.0, -9.0], [6.0, -9.0], [6.0, 9.0], [3.0, 9.0]])
    (alarm,), _ = over_areas(wood_off(graph, cut), cut.place(graph), 3.8, (Area("road", "", lane),))

    assert alarm["over"] and alarm["stands"] == 0.0
    assert "stands over a road" in say(alarm)


def test_no_feature_drawn_twice_lowers_a_distance():
    """The same wire and lane twice: the same distances, told twice."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.08), sd=0.0)
    cut, wire = cut_stem(graph, 10.0), Conductor(np.array([[6.0, -50.0, 10.0], [6.0, 50.0, 10.0]]), 20e3)
    once, twice = (
        near_conductors(wood_off(graph, cut), cut.place(graph), 4.0, conductors(Site(conductors=(wire,) * n), alone(graph)), Approach())[0]
        for n in (1, 2)
    )

    assert [(r["stands"], r["turned"]) for r in twice] == [(r["stands"], r["turned"]) for r in once] * 2


def test_a_block_bears_twice_the_piece_at_rest():
    """Two legs of the rope carry the weight each, at the heavy end of the mass; without rigging nothing is said of it."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    with_block = one_stage(graph, points, "", int(graph.unions.node[0]))
    (load,) = [r for r in with_block.reasons() if r.code == "rigging_load"]

    assert load["force"] == pytest.approx(2 * 9.80665 * with_block.mass.p95)
    assert "rigger" in say(load)
    assert not has(one_stage(graph, points, "").reasons(), "rigging_load")


def test_what_a_plan_is_asked_with_shows_itself_in_a_line():
    """Site and removal print what they hold, not their arrays."""
    graph = plain_tree()

    assert repr(Removal((cut_limb(graph, 1, "north lead"), cut_stem(graph, 6.0)))) == "Removal(2 cuts: north lead, stem-6.0)"
    assert repr(Site(roads=(np.zeros((9999, 2)),))) == "Site(areas=1, conductors=0, points=0)"


@pytest.mark.parametrize("second", [0.17, 0.24])
def test_two_unions_of_one_leader_share_it_however_thick(second):
    """A stem that forks into leaders of 34 and 48 cm: the block 2 m above the climber on one of them loads the leader that holds both, whatever
    section governs; on the other leader it does not."""
    graph = tree(
        ([[0, 0, 0], [0, 0, 6], [1.2, 0, 14]], 0.3, 0.1),
        ([[0, 0, 6], [-1.2, 0, 14]], second, 0.08),
        ([[0.45, 0, 9], [0.45, 2.5, 10.5]], 0.08, 0.04),
        ([[0.75, 0, 11], [0.75, -2.5, 12.5]], 0.08, 0.04),
        ([[-0.45, 0, 9], [-0.45, 2.5, 10.5]], 0.08, 0.04),
        step=0.1,
    )
    low, high, other = (union_near(graph, at) for at in ([0.45, 0, 9], [0.75, 0, 11], [-0.45, 0, 9]))
    points = ranked(graph, [throw(graph, k) for k in range(len(graph.unions))])
    life = graph.unions.label[low]
    same, apart = (one_stage(graph, points, life, int(graph.unions.node[k]), cut_stem(graph, 13.5)) for k in (high, other))

    assert has(same.alarms, "support_shares_rigging")
    assert not has(apart.alarms, "support_shares_rigging")
