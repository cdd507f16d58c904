"""What a piece on the rigging asks of the block's union, what it leaves to the climber, and where it swings: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, of_code, ranked, throw, tree
from loads.stick_trees import PLAIN
from strategies import alone

from treescan.loads.checks.line_check import check_line, check_together
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.outputs.text.say import say, say_all
from treescan.planning.ranking.overrides import Override
from treescan.planning.reach.clearances import conductors
from treescan.planning.removal.block_load import block_at, block_load, stop
from treescan.planning.removal.piece_swing import piece_swing, swing_findings
from treescan.planning.removal.removal_plan import removal_plan
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal, cut_limb, cut_stem
from treescan.planning.work.work_points import default_work
from treescan.reason import has
from treescan.trees.beside import Conductor, Site
from treescan.units import G

UP = np.array([0.0, 0.0, 1.0])
STOUT = tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.12), ([[0, 0, 9], [3, 0, 12]], 0.1, 0.05), ([[0, 0, 5], [-4, 0, 6]], 0.1, 0.05), step=0.1)


def model(graph, **changes):
    return whole_tree(graph, alone(graph), PLAIN, LoadSettings(**changes))


def union_at(graph, z):
    return int(graph.unions.node[int(np.argmin(np.abs(graph.unions.height - z)))])


def test_a_block_at_rest_hauled_and_in_a_swing_by_hand():
    """1 kN hung 4 m below and 3 m beside: 2 kN at rest, 1 + e^(0.099 pi) hauled, 2 (3 - 2 cos a) at the lowest point of the swing."""
    node = union_at(STOUT, 9)
    block = STOUT.xyz[node]
    found = block_load(model(STOUT), node, 1000.0, block - 2 * UP, block + np.array([3.0, 0, -4.0]), (), S)
    a = np.arctan2(3, 4)

    assert found.at_rest == 2000.0
    assert found.hauled == pytest.approx(1000 * (1 + np.exp(0.099 * np.pi)))
    assert found.swing_angle == pytest.approx(a)
    assert found.swing_peak == pytest.approx(2000 * (3 - 2 * 0.8))
    assert found.stopped is None and found.drop == 0


def test_a_piece_above_its_block_by_hand():
    """A top of 200 kg cut 1 m over the block, its centre 2 m over the cut: it falls 2 m free, its centre 3 + 1 + 2 = 6 m in all; the rope is
    9 + 1 m. F = 2 (W + sqrt(W^2 + 2 W 6 K / 10)), K = 41.2 kN; ten times the weight where that is more."""
    node = union_at(STOUT, 9)
    block, tree_ = STOUT.xyz[node], model(STOUT)
    heavy, light = (block_load(tree_, node, w, block + UP, block + 3 * UP, (), S) for w in (2000.0, 50.0))

    def by_hand(w):
        """A sheave that slides keeps exp(-0.25 pi) of the pull from the nine metres below it, and none where it turns freely."""
        k = np.exp(-np.linspace(0, 0.25, 41) * np.pi)
        return np.max((1 + k) * (w + np.sqrt(w * w + 2 * w * 6 * 41200.0 / (1 + k * 9))))

    assert (heavy.free, heavy.drop) == pytest.approx((2.0, 6.0))
    assert heavy.computed == pytest.approx(by_hand(2000))
    assert heavy.stopped.size == pytest.approx(max(by_hand(2000), 20000))
    assert light.stopped.size == pytest.approx(max(by_hand(50), 500))
    assert np.isnan(heavy.swing_angle)
    told = " ".join(say_all(heavy.reasons(tree_, S)))
    assert "2.0 m" in told and "6.0 m" in told and "rigger" in told


@pytest.mark.parametrize(("over", "most"), [("block", 0.099), ("ring", 0.25), ("bark", 0.5)])
def test_hauling_over_more_friction_asks_more(over, most):
    """W (1 + e^(mu pi)) by the high end of what the rope runs over, and the same over bare bark told beside it."""
    node = union_at(STOUT, 9)
    block, tree_ = STOUT.xyz[node], model(STOUT)
    found = block_load(tree_, node, 1000.0, block - 2 * UP, block + np.array([3.0, 0, -4.0]), (), S, over)
    told = " ".join(say_all(found.reasons(tree_, S)))

    assert found.hauled == pytest.approx(1000 * (1 + np.exp(most * np.pi)))
    assert found.hauled_over_bark == pytest.approx(1000 * (1 + np.exp(0.5 * np.pi)))
    assert found.at_rest == 2000.0
    assert ("bare bark" in told) == (over != "bark")


def integrated(weight, drop, short, long, mu, modulus, dt=2e-5):
    """Peak at the union when a mass falls into a rope of two legs that slides over a turn with friction, step by step in time."""
    k, g = np.exp(-mu * np.pi), 9.80665
    down, speed, slid, peak = 0.0, 0.0, 0.0, 0.0
    mass = weight / g
    while speed >= 0:
        over = max(down - drop, 0.0)  # what both legs must stretch
        # the short leg's stretch is over - slid, the long leg's slid; rope slides toward the piece while T_long < k T_short
        slid = max(slid, k * long * over / (short + k * long))
        pull = modulus * (over - slid) / short
        speed += dt * (g - pull / mass)
        down += dt * speed
        peak = max(peak, pull + modulus * slid / long)
    return peak


@pytest.mark.parametrize("mu", [0.0, 0.1, 0.25, 0.5])
@pytest.mark.parametrize(("short", "long"), [(1.0, 9.0), (4.0, 6.0)])
def test_a_stop_with_friction_against_an_integration_in_time(mu, short, long):
    """(1 + k) T of the formula is the peak that a falling mass makes in two springs with a friction turn between."""
    w, drop, modulus = 2000.0, 3.0, 41200.0
    k = np.exp(-mu * np.pi)
    formula = (1 + k) * (w + np.sqrt(w * w + 2 * w * drop * modulus / (short + k * long)))

    assert integrated(w, drop, short, long, mu, modulus) == pytest.approx(formula, rel=2e-3)
    assert stop(w, drop, short, long, 0.5, modulus)[0] >= 0.999 * formula


def test_friction_with_a_short_lead_pulls_harder_than_none():
    """20 kg on half a metre of rope with twelve to the ground: over bark the stop asks a sixth more of the union than over a free sheave; with as much
    rope on either side none asks most."""
    (free, none), (rough, mu) = stop(200.0, 3.0, 0.5, 12.0, 0.0, 41200.0), stop(200.0, 3.0, 0.5, 12.0, 0.5, 41200.0)

    assert none == 0 and mu == 0.5
    assert rough > 1.15 * free
    assert stop(2000.0, 3.0, 6.0, 6.0, 0.5, 41200.0)[1] == 0


def test_a_longer_drop_and_a_heavier_piece_never_ask_less():
    """The low end of the block's union falls with weight and drop; a stated defect takes its share off."""
    node, tree_ = union_at(STOUT, 9), model(STOUT)
    block = STOUT.xyz[node]

    def low(weight, above, overrides=()):
        return block_load(tree_, node, weight, block + above * UP, block + (above + 1.0) * UP, overrides, S).stopped.check.margin.p5

    assert low(1000, 1) > low(2000, 1) > low(2000, 2)
    label = STOUT.unions.label[int(np.flatnonzero(STOUT.unions.node == node)[0])]
    half = Override("defect", "A", "crack", "now", union=label, value=0.5)
    assert low(1000, 1, (half,)) == pytest.approx(0.5 * low(1000, 1))


def test_two_pulls_on_one_stem_add_up():
    """Two lines over one union pulled the same way with T each bear on the stem like one of 2 T, but for the draws of two places on the bark (1 %);
    one of next to nothing leaves the other alone."""
    tree_, node = model(STOUT), union_at(STOUT, 9)
    block = block_at(node, tree_)
    aim = STOUT.xyz[node] + 1000 * np.array([0.5, 0.2, -1.0])
    twice = check_together(tree_, (block, block), (aim, aim), (1500.0, 1500.0)).margin
    one = check_line(tree_, block, aim, 3000.0).margin
    alone_ = check_together(tree_, (block, block), (aim, aim), (3000.0, 1e-6)).margin

    assert (twice.p5, twice.median) == pytest.approx((one.p5, one.median), rel=0.01)
    assert (alone_.p5, alone_.median) == pytest.approx((one.p5, one.median), rel=0.01)


def planned(graph, removal, *, site=None, **points):
    found = ranked(graph, [throw(graph, k) for k in range(len(graph.unions))], **points)
    context = TreeContext(graph, alone(graph), site or Site(), default_work(graph, alone(graph), S), S)
    return removal_plan(context, found, removal, PLAIN.density, model(graph))


def label_at(graph, z):
    return graph.unions.label[int(np.argmin(np.abs(graph.unions.height - z)))]


def test_a_stout_stem_shared_below_is_told_and_no_alarm():
    """Climber and block on one stem 4 m apart: what both together leave of the stem is told, and it is less than the climber's own."""
    (stage,) = planned(STOUT, Removal((cut_stem(STOUT, 13.0),), (label_at(STOUT, 5),), (union_at(STOUT, 9),)))
    (told,) = of_code(stage.rigging, "support_shares_stem")

    assert not has(stage.alarms, "support_shares_rigging", "support_shares_stem", "support_weakest_below")
    assert told["calm"]["low"] > told["hard"]["low"] > S.margin_gate
    assert "share but the stem below 5.0 m" in say(told)


def test_a_slender_stem_shared_below_is_an_alarm():
    """The same on a stem of a third the thickness, under a top that is stopped hard."""
    thin = tree(([[0, 0, 0], [0, 0, 14]], 0.11, 0.06), ([[0, 0, 9], [2, 0, 11]], 0.05, 0.03), ([[0, 0, 5], [-2, 0, 6]], 0.05, 0.03), step=0.1)
    settings = replace(S, min_limb=0.03)
    (stage,) = planned(thin, Removal((cut_stem(thin, 10.0),), (label_at(thin, 5),), (union_at(thin, 9),)), settings=settings)

    assert has(stage.alarms, "block_must_run", "block_too_much")
    assert has(stage.alarms, "support_shares_stem")
    assert "Keep them apart" in say(of_code(stage.alarms, "support_shares_stem")[0])


def test_block_and_climber_on_one_union_stay_an_alarm():
    """No sum lifts that one."""
    (stage,) = planned(STOUT, Removal((cut_stem(STOUT, 13.0),), (label_at(STOUT, 9),), (union_at(STOUT, 9),)))

    assert has(stage.alarms, "support_shares_rigging")


def test_a_swing_by_hand():
    """A centre 4 m below the block and 3 m beside: 6 m sideways, sqrt(2 g (5 - 4)) at the lowest point, 5 m below the block; its wood reaches 1.5 m."""
    block = np.array([0.0, 0.0, 10.0])
    centre = np.array([3.0, 0.0, 6.0])
    swing = piece_swing(block, centre, centre, 1.5)

    assert swing.sideways == pytest.approx(6.0)
    assert swing.speed == pytest.approx(np.sqrt(2 * G))
    assert swing.radius == pytest.approx(1.5)
    assert swing.path[:, 2].min() == pytest.approx(5.0)
    assert piece_swing(block, centre, np.array([0, 0, 11.0]), 1.0) is None
    assert piece_swing(block, np.array([0, 0, 11.0]), centre, 1.0) is None


def findings(site=None, climber=(), stands=None):
    block, centre = np.array([0.0, 2.0, 10.0]), np.array([3.0, 2.0, 6.0])
    swing = piece_swing(block, centre, centre, 1.0)
    site = site or Site()
    keep = np.ones(len(STOUT), bool) if stands is None else stands
    lines = conductors(site, alone(STOUT))
    return swing_findings(swing, STOUT, keep, alone(STOUT).terrain, np.reshape(climber, (-1, 2, 3)), lines, site.areas(), S)


def test_what_a_swing_passes_by_hand():
    """Its plane runs 2 m beside a stem of 0.5 m: a piece that reaches 1 m strikes nothing; a rope in its way is an alarm; so is a wire 2 m past the
    far side (1 m left, less than 3.05 m), and a lane it swings over. A wire 20 m off is not."""
    wire, far = (Conductor(np.array([[x, -50.0, 6.0], [x, 50.0, 6.0]]), 20e3, "mill line") for x in (-5.0, -30.0))
    lane = np.array([[-9.0, -9.0], [-2.0, -9.0], [-2.0, 9.0], [-9.0, 9.0]])
    rope = np.array([[0.0, 2.0, 12.0], [0.0, 2.2, 4.0]])
    told, alarms = findings(Site(conductors=(wire, far), roads=(lane,)), rope)
    free, none = findings()

    assert free["strikes"] is None and told["strikes"] is None and not none
    assert has(alarms, "swing_near_climber")
    (near,) = of_code(alarms, "swing_near_conductor")
    assert near["away"] == pytest.approx(1.0, abs=0.02)
    assert of_code(alarms, "swing_over_area")[0]["away"] == 0.0


@pytest.mark.parametrize(("beside", "away"), [(0.0, 0.0), (0.9, 0.0), (1.8, 0.8), (2.4, 1.4), (2.6, None), (9.0, None)])
def test_a_swing_at_the_climber_by_hand(beside, away):
    """A plumb rope so far beside the plane of the swing, its wood reaching 1 m: nearer than 1.5 m it is an alarm with that distance, farther none;
    of several ropes the nearest counts."""
    rope = np.array([[0.0, 2.0 + beside, 12.0], [0.0, 2.0 + beside, 4.0]])
    alarms = findings(climber=np.stack([rope + np.array([0, 20.0, 0]), rope]))[1]

    assert has(alarms, "swing_near_climber") == (away is not None)
    if away is not None:
        (near,) = of_code(alarms, "swing_near_climber")
        assert near["away"] == pytest.approx(away, abs=0.02)
        assert near["centre"] == pytest.approx(beside, abs=0.02)
        assert ("can strike the climber" in say(near)) == (away == 0.0)


def test_a_swing_too_short_to_leave_the_climber_is_an_alarm():
    """A piece all but plumb under its block never gets past the push-off."""
    block, centre = np.array([0.0, 2.0, 10.0]), np.array([0.2, 2.0, 6.0])
    swing = piece_swing(block, centre, centre, 1.0)
    rope = np.array([[[0.0, 2.0, 12.0], [0.2, 2.0, 6.5]]])
    alarms = swing_findings(swing, STOUT, np.ones(len(STOUT), bool), alone(STOUT).terrain, rope, (), (), S)[1]

    assert [a.code for a in alarms] == ["swing_near_climber"]


def test_a_swing_at_the_climber_stands_before_all_but_the_life_support():
    """Through the whole plan, with a wire and a lane beside: it is an alarm of the first kind."""
    limb = next(k for k in range(1, 3) if STOUT.xyz[STOUT.limbs.nodes[k][-1], 2] < 7)
    wire = Conductor(np.array([[-5.0, -50.0, 6.0], [-5.0, 50.0, 6.0]]), 20e3, "mill line")
    lane = np.array([[-9.0, -9], [-1, -9], [-1, 9], [-9, 9.0]])
    removal = Removal((cut_limb(STOUT, limb),), (label_at(STOUT, 9),), (union_at(STOUT, 9),))
    (stage,) = planned(STOUT, removal, site=Site(conductors=(wire,), roads=(lane,)))
    codes = [a.code for a in stage.alarms]

    assert codes.index("swing_near_climber") < codes.index("support_shares_rigging") < codes.index("swing_near_conductor")
    assert codes.index("swing_near_climber") < codes.index("swing_over_area")


def test_wood_in_the_way_of_a_swing_is_named_unless_it_is_gone():
    """The limb at 5 m that the piece passes: struck while it stands, not once it is off."""
    block, centre = np.array([0.0, 0.6, 10.0]), np.array([3.0, 0.6, 7.0])
    swing = piece_swing(block, centre, centre, 1.2)
    limb = next(k for k in range(1, 3) if STOUT.xyz[STOUT.limbs.nodes[k][-1], 2] < 7)
    gone = STOUT.above(int(STOUT.limbs.nodes[limb][0]))
    stem = STOUT.limb == 0
    args = (alone(STOUT).terrain, np.empty((0, 2, 3)), (), (), S)

    assert swing_findings(swing, STOUT, ~gone & ~stem, *args)[0]["strikes"] is None or len(STOUT.limbs) > 3
    assert swing_findings(swing, STOUT, stem, *args)[0]["strikes"] is not None


@pytest.mark.parametrize("seed", range(4))
def test_no_feature_drawn_twice_lowers_a_distance_of_a_swing(seed):
    """Random wires and areas, once and twice: the same least distances, and no alarm goes."""
    rng = np.random.default_rng(seed)
    wires = tuple(Conductor(rng.uniform(-8, 8, (2, 3)) + 9 * UP, 20e3) for _ in range(3))
    lane = rng.uniform(-6, 6, (1, 2)) + np.array([[0, 0], [3, 0], [3, 3], [0, 3.0]])
    once, twice = (findings(Site(conductors=wires * n, roads=(lane,) * n))[1] for n in (1, 2))

    def least(found):
        return {code: min(r["away"] for r in of_code(found, code)) for code in {r.code for r in found}}

    assert least(once) == least(twice)
    assert len(twice) == 2 * len(once)


def test_a_removal_with_a_block_tells_swing_and_load_at_its_cut():
    """Through the whole plan: the side limb on the upper block swings, its block's load stands in the findings, the note of the rigger too."""
    limb = next(k for k in range(1, 3) if STOUT.xyz[STOUT.limbs.nodes[k][-1], 2] < 7)
    (stage,) = planned(STOUT, Removal((cut_limb(STOUT, limb),), ("",), (union_at(STOUT, 9),)), site=Site(roads=(np.array([[-9.0, -9], [-1, -9], [-1, 9], [-9, 9.0]]),)))
    codes = [r.code for r in stage.reasons()]
    assert stage.block is not None and stage.swing is not None
    assert {"block_load", "rigging_is_the_riggers", "piece_swings"} <= set(codes) and "rigging_load" not in codes
    assert has(stage.alarms, "swing_over_area")
