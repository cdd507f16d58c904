"""What catches the rope, worked out by hand on trees small enough for a pencil."""

from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from loads.stick_trees import PLAIN, checked, configuration, tree
from strategies import alone, random_tree

from treescan.loads.fall.backup import Support, Suspension, common_node, fall, pierced
from treescan.loads.fall.failure_chain import _shared, failure_chain
from treescan.loads.fall.fall_way import BODY, GROUND, NOTHING, fall_way, first_met
from treescan.loads.judging.judged import contacts_of
from treescan.loads.rope.contacts import at_node
from treescan.loads.settings import ONE_SHARE, LoadSettings
from treescan.loads.statics.structural_model import leaves_limbs, whole_tree
from treescan.outputs.text.say import say
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.topology.assemble import assemble

BASE, CLIMBER = np.array([1.0, -1.0, 0.0]), np.array([1.0, 1.5, 5.5])
UPPER, LOWER = 8.0, 6.5
R_UPPER, R_LOWER = 0.07, 0.10


@pytest.fixture(scope="module")
def fork():
    """Two level limbs above each other, 14 cm at 8 m and 20 cm at 6.5 m, on a stout stem."""
    return tree([(UPPER, 0, 0, 3.0, 2 * R_UPPER, 2 * R_UPPER), (LOWER, 0, 0, 3.0, 2 * R_LOWER, 2 * R_LOWER)], stem=0.5, top=0.3)


def told(found):
    """What catches, whether it is redundant, and what is shared."""
    assert (found.reason is None) == found.redundant
    return found.catches, found.redundant, found.common_cause


def state(graph, **changes):
    return whole_tree(graph, alone(graph), PLAIN, LoadSettings(**changes))


def on_upper(graph):
    """The rope over the upper limb one metre from the stem's axis."""
    limb = int(np.argmax([graph.xyz[n[-1], 2] if i else 0 for i, n in enumerate(graph.limbs.nodes)]))
    node = int(graph.limbs.nodes[limb][1])
    return at_node(graph, node, np.array([1.0, 0.0, UPPER]))


def chain(graph, **changes):
    return told(chain_of(graph, **changes))


def chain_of(graph, **changes):
    contact = on_upper(graph)
    first = int(graph.limbs.nodes[graph.limb[contact.node]][0])
    return failure_chain(state(graph, **changes), True, [contact], CLIMBER, BASE, first)


def tangent(point, height, radius):
    """Straight leg from a point to the bark of a level bar, and the angle from the plumb down to the tangent ruling."""
    y, z = abs(point[1]), height - point[2]
    far = np.hypot(y, z)
    return np.sqrt(far**2 - radius**2), np.arctan2(y, z) + np.arccos(radius / far)


def hung(base, climber, height, radius):
    """Rope over a level bar that a climber's weight hangs on, without what that stretches: W L / K on their leg, and behind it as far as
    the most friction lets the pull reach."""
    (a, pa), (b, pb) = tangent(base, height, radius), tangent(climber, height, radius)
    turn, s = 2 * np.pi - pa - pb, LoadSettings()
    return unstretched(b, a + radius * turn, turn, s)


def unstretched(leg, behind, turn, s):
    return leg + behind - s.climber_mass * G / s.rope_modulus * (leg + behind * np.exp(-max(s.mu_bark) * turn))


def rope_before():
    return hung(BASE, CLIMBER, UPPER, R_UPPER)


def rope_behind_after():
    """Leg and arc behind the climber's plumb leg once the rope hangs on the lower limb, and its turning."""
    a, pa = tangent(BASE, LOWER, R_LOWER)
    turn = 2 * np.pi - pa - np.pi / 2
    return a + R_LOWER * turn, turn


def test_first_catch_by_hand(fork):
    """When the upper limb breaks the rope lands on the lower one; drop and peak force are those of the pencil."""
    catches, redundant, cause = chain(fork)
    behind, turn = rope_behind_after()
    hanging = rope_before() - behind
    drop = CLIMBER[2] - (LOWER - hanging)
    settings = LoadSettings()
    stretching = hanging + behind * np.exp(-max(settings.mu_bark) * turn)
    weight = settings.climber_mass * G
    peak = weight + np.sqrt(weight**2 + 2 * weight * settings.rope_modulus * drop / stretching)

    assert [c.label for c in catches] == ["U01", "ground"]
    assert catches[0].slide == 0
    assert catches[0].drop == pytest.approx(drop, abs=1e-6)
    assert catches[0].peak == pytest.approx(peak, rel=1e-6)
    assert not catches[0].ground
    assert catches[0].margin.known
    assert cause is None
    assert redundant == (catches[0].margin.p5 >= settings.holds_p5)


def test_the_drop_gives_the_rope_all_its_energy(fork):
    """Height lost, stretch included, equals the energy of the stretched rope: W (h + e) = F e / 2."""
    catches, _, _ = chain(fork)
    behind, turn = rope_behind_after()
    settings = LoadSettings()
    stretching = rope_before() - behind + behind * np.exp(-max(settings.mu_bark) * turn)
    e = catches[0].peak * stretching / settings.rope_modulus
    assert settings.climber_mass * G * (catches[0].drop + e) == pytest.approx(catches[0].peak * e / 2, rel=1e-9)


def stretched(height, lower, climber):
    """On a stout tree with two level limbs: rope before the break, the plumb leg after it, and the turning and way behind that."""
    thin, thick = 0.08, 0.16
    graph = tree([(height, 0, 0, 3.0, 2 * thin, 2 * thin), (lower, 0, 0, 3.0, 2 * thick, 2 * thick)], height=20.0, stem=0.8, top=0.5, step=0.4)
    limb = int(np.argmax([graph.xyz[n[-1], 2] if i else 0 for i, n in enumerate(graph.limbs.nodes)]))
    height, lower = graph.xyz[graph.limbs.nodes[limb][2], 2], graph.xyz[graph.limbs.nodes[3 - limb][2], 2]
    at = at_node(graph, int(graph.limbs.nodes[limb][2]), np.array([1.2, 0, height]))
    base = np.array([1.2, -1.0, 0.5])
    chain = told(failure_chain(state(graph), True, [at], np.array([1.2, 1.0, climber]), base, int(graph.limbs.nodes[limb][0])))
    rope = hung(base, np.array([1.2, 1.0, climber]), height, thin)
    c, pc = tangent(base, lower, thick)
    turn = 1.5 * np.pi - pc
    return chain, rope, lower - (rope - c - thick * turn), c + thick * turn, turn


@pytest.mark.parametrize(("climber", "held"), [(5.0, False), (9.0, True)])
def test_held_above_the_ground_counts_stretch_and_legs(climber, held):
    """A strong limb 1.2 m lower stops the fall. Whether it is a back-up is settled at the lowest point: rope's end less stretch less legs."""
    (catches, redundant, _), rope, end, behind, turn = stretched(16.0, 14.8, climber)
    settings = LoadSettings()
    weight, shared = settings.climber_mass * G, rope - behind + behind * np.exp(-max(settings.mu_bark) * turn)
    peak = weight + np.sqrt(weight**2 + 2 * weight * (climber - end) * settings.rope_modulus / shared)
    feet = end - peak * rope / settings.rope_modulus - settings.harness_to_feet
    assert catches[0].peak == pytest.approx(peak, rel=1e-6)
    assert catches[0].margin.p5 > settings.holds_p5  # the limb holds
    assert end > settings.ground_clearance  # and the rope's end, unstretched, is clear of the ground
    assert (feet > settings.ground_clearance) == held
    assert redundant == held
    lowest = catches[0].reason["lowest"]
    if feet > 0:
        assert lowest.code == ("feet_stay_up" if held else "feet_too_low")
        assert lowest["feet"] == pytest.approx(feet, abs=1e-3)
    else:
        assert lowest == Reason("feet_may_strike")


def test_ground_is_that_below_the_place_where_the_climber_ends():
    """On a bank of 25 degrees the climber is out over low ground and hangs, caught, over ground 1.9 m higher: the feet are told above that."""
    graph = tree([(16.0, 0, 0, 4.0, 0.16, 0.16), (14.8, 0, 0, 4.0, 0.34, 0.30)], height=20.0, stem=0.8, top=0.5, step=0.4)
    around = alone(graph)
    north = around.terrain.corner[1] + around.terrain.cell * (np.arange(len(around.terrain.height)) + 0.5)
    bank = replace(around.terrain, height=np.broadcast_to(-np.tan(np.radians(25)) * north[:, None], around.terrain.height.shape).copy())
    whole = whole_tree(graph, replace(around, terrain=bank), PLAIN, LoadSettings())
    limb = int(np.argmax([graph.xyz[n[-1], 2] if i else 0 for i, n in enumerate(graph.limbs.nodes)]))
    at = at_node(graph, int(graph.limbs.nodes[limb][3]), np.array([1.6, 0, 16.0]))
    climber, base = np.array([1.6, 4.0, 9.0]), np.array([1.6, -1.0, 0.5])
    catches, _, _ = told(failure_chain(whole, True, [at], climber, base, int(graph.limbs.nodes[limb][0])))
    rope = hung(base, climber, 16.0, 0.08)
    low = graph.limbs.nodes[3 - limb]
    side = np.interp(1.6, graph.xyz[low, 0], graph.segment_radius[low])  # the rope hangs plumb from the limb's side
    bank_there = -np.tan(np.radians(25)) * side
    feet = climber[2] - catches[0].drop - catches[0].peak * rope / LoadSettings().rope_modulus - 1.0 - bank_there
    assert catches[0].reason["lowest"]["feet"] == pytest.approx(feet, abs=0.05)
    assert catches[0].drop + catches[1].drop == pytest.approx(climber[2] - bank_there, abs=0.02)  # not down to the bank below where it began


@pytest.mark.parametrize(("climber", "met"), [((4.0, 1.2, 7.6), True), ((3.2, 1.2, 7.0), False)])
def test_a_swing_goes_on_through_plumb(climber, met):
    """Caught 1.6 m from the stem's axis, a climber out on the limb swings through plumb into the stem, or misses it by more than half a
    body; speeds are those of a pendulum that keeps the part of the fall across its rope."""
    graph = tree([(10.0, 0, 0, 5.0, 0.14, 0.14), (8.5, 0, 0, 5.0, 0.2, 0.2)], stem=0.6, top=0.5, height=14.0)
    limb = int(np.argmax([graph.xyz[n[-1], 2] if i else 0 for i, n in enumerate(graph.limbs.nodes)]))
    at = at_node(graph, int(graph.limbs.nodes[limb][3]), np.array([1.6, 0, 10.0]))
    climber, base = np.array(climber), np.array([1.0, -1.0, 0.5])
    catches, _, _ = told(failure_chain(state(graph), True, [at], climber, base, int(graph.limbs.nodes[limb][0])))
    lost = np.array([1.6, 0, 10.0]) - base
    normal = np.cross(lost, climber - base)  # of the plane the rope sweeps: it meets the lower limb where y = 0, z = 8.5
    pivot = np.array([base[0] - (normal[1] * (0 - base[1]) + normal[2] * (8.5 - base[2])) / normal[0], 0.1, 8.5])  # and hangs from its side
    length = pivot[2] - (climber[2] - catches[0].drop)
    out = np.hypot(*(climber - pivot)[:2])
    top = np.arcsin(out / length)
    angle = np.linspace(top, -top, 4001)
    ahead = (climber - pivot)[:2] / out
    way = np.column_stack([pivot[0] + length * np.sin(angle) * ahead[0], pivot[1] + length * np.sin(angle) * ahead[1]])
    height = pivot[2] - length * np.cos(angle)
    stem = 0.3 - 0.05 * height / 14.0  # its radius at the climber's height, near enough for a plumb stem
    inside = np.flatnonzero(np.hypot(*way.T) - stem < BODY)
    assert (len(inside) > 0) == met
    assert (catches[0].reason["met"] == Reason("stem_itself")) == met
    assert catches[0].reason["sideways"] == pytest.approx(out, abs=0.05)
    if met:
        assert angle[inside[0]] < 0  # beyond plumb
        fell = climber[2] - height[0]
        speed = np.sqrt(2 * G * (fell * np.sin(top) ** 2 + length * (np.cos(angle[inside[0]]) - np.cos(top))))
        assert 1.2 * speed - 0.5 < catches[0].reason["speed"] < 1.4 * speed + 0.5  # the feet's (tests/oracles/swing_with_body)


def test_what_the_climber_leans_on_is_not_met():
    """Falling along the stem half an arm's length off it, or from the limb one stands on, is no meeting; a limb below is."""
    graph = tree([(8.0, 0, 0, 3.0, 0.14, 0.14), (5.0, 0, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.5)
    none = np.zeros(len(graph), bool)
    below = int(graph.limb[np.flatnonzero((graph.xyz[:, 2] == 5.0) & (graph.xyz[:, 0] > 1))[0]])

    def met(x, y, z, length):
        way, _ = fall_way(np.array([x, y, z]), np.array([x, y, 10.0]), length)
        return first_met(graph, none, way, way[:, 2] - 1.0, np.zeros(len(way)), 0.05)[0]

    assert met(0.0, 0.6, 8.0, 7.0) == NOTHING  # beside the stem all the way
    assert met(1.5, 0.5, 8.2, 3.2) == NOTHING  # from the limb
    assert met(1.5, 0.5, 8.2, 4.0) == below  # the feet come beside it
    assert met(1.5, 0.5, 8.2, 7.0) == below
    assert met(1.5, 2.0, 8.2, 9.5) == GROUND  # its feet


def test_chain_ends_on_the_ground(fork):
    """The last link is the ground, its drop the height left since the last catch that stops the fall, and no strength is claimed for it."""
    catches, _, _ = chain(fork)
    hanging = rope_before() - rope_behind_after()[0]
    assert catches[-1].ground
    assert not catches[0].reason["stops"]
    assert catches[-1].drop == pytest.approx(CLIMBER[2], abs=1e-6)
    (held, last), _, _ = chain(tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 0, 0, 3.0, 0.34, 0.34)], stem=0.7, top=0.5))
    assert held.reason["stops"]
    assert last.drop == pytest.approx(CLIMBER[2] - held.drop, abs=1e-6)
    more = (np.pi - 1) * (0.34 - 0.14) / 2  # half round the stouter limb, less its higher top
    assert last.drop == pytest.approx(LOWER - hanging + more, abs=0.02)
    assert not catches[-1].margin.known
    assert np.isnan(catches[-1].peak)


def test_steep_union_by_hand():
    """Over a limb at 85 degrees whose stem side the rope takes, the rope before the break runs from the base to the crotch and down to the
    climber; what hangs below the limb that catches is the rest of that."""
    graph = tree([(9.0, 0, 85, 3.0, 0.12, 0.08), (7.0, 180, 0, 2.5, 0.20, 0.18)], stem=0.5, top=0.4)
    base, climber = np.array([-0.6, 1.0, 0.5]), np.array([-0.9, -1.2, 7.8])
    steep = configuration(graph, "U02", "SRS basal", base=base)
    whole = state(graph)
    (contact,) = contacts_of(whole, steep)
    crotch = contact.point + contact.radius * np.array([-np.sin(np.radians(85)), 0.0, np.cos(np.radians(85))])
    behind, leg = np.linalg.norm(base - crotch), np.linalg.norm(climber - crotch)
    turn = np.arccos((crotch - base) @ (climber - crotch) / behind / leg)
    rope = unstretched(leg, behind, turn, LoadSettings())
    first = int(graph.limbs.nodes[graph.limb[contact.node]][0])
    catches, _, _ = told(failure_chain(whole, True, [contact], climber, base, first))
    assert [c.label for c in catches] == ["U01", "ground"]
    height = 7.0 + 0.095  # of the top of the limb that catches, near enough
    behind = np.linalg.norm(base - [-0.75, 0.0, height])
    assert catches[0].drop == pytest.approx(climber[2] - (height - (rope - behind)), abs=0.2)
    assert catches[1].drop == pytest.approx(climber[2] - (catches[0].drop if catches[0].reason["stops"] else 0.0), abs=1e-9)


def test_no_catch_lifts_the_climber():
    """Steep anchor limbs and back-ups all round, 150 at random: whatever is told, each step goes down, and the steps that stop the fall add
    up to the height with the last."""
    rng = np.random.default_rng(1)
    caught = 0
    for _ in range(150):
        azimuth = rng.uniform(0, 360, 2)
        graph = tree(
            [(9.0, azimuth[0], rng.uniform(55, 88), 3.0, 0.14, 0.10), (7.0, azimuth[1], rng.uniform(-5, 40), 2.5, 0.24, 0.2)], stem=0.5, top=0.4
        )
        base, climber = np.append(rng.uniform(-1, 1, 2), 0.5), np.append(rng.uniform(-2.0, 2.0, 2), rng.uniform(6.5, 8.0))
        whole = state(graph, catch_samples=100, samples=100)
        contacts = contacts_of(whole, configuration(graph, "U02", "SRS basal", base=base))
        catches, _, _ = told(failure_chain(whole, True, contacts, climber, base, int(graph.limbs.nodes[graph.limb[contacts[0].node]][0])))
        caught += len(catches) > 1
        assert min(c.drop for c in catches) >= 0
        assert sum(c.drop for c in catches if c.ground or c.reason["stops"]) == pytest.approx(climber[2], abs=1e-5)
    assert caught > 10


def test_a_rope_too_short_for_its_supports_catches_nothing(fork):
    """Supports that the rope cannot reach are no catch."""
    at = at_node(fork, int(fork.limbs.nodes[2][1]), np.array([1.0, 0.0, LOWER]))
    hang = Suspension((at,), CLIMBER)
    for rope in (3.0, 7.0):  # less than the way up; less than to the climber
        found = fall(hang, [Support(at)], BASE, rope, lambda _: 0.0, LoadSettings())
        assert found.suspension is None
        assert found.drop == CLIMBER[2]


def test_canopy_rope_goes_with_the_limb(fork):
    """A rope fixed at the union has nothing that catches: straight to the ground."""
    for system in ("MRS", "SRS canopy"):
        (check,) = checked(fork, [configuration(fork, "U02", system)])
        assert [c.ground for c in check.catches] == [True]
        assert not check.redundant


def test_limb_outside_the_loop_does_not_catch():
    """A limb on the other side of the stem is not between the legs and catches nothing."""
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 180, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.3)
    catches, redundant, _ = chain(graph)
    assert [c.label for c in catches] == ["ground"]
    assert not redundant


def test_limb_that_rises_lets_the_rope_slide_into_its_union():
    """On a limb rising at 35 degrees the rope slides to the bark of the stem; the slide is the way along the limb."""
    slope = np.deg2rad(35)
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (6.0, 0, 35, 2.5, 0.2, 0.2)], stem=0.5, top=0.3)
    catches, _, _ = chain(graph)
    bark = graph.unions.parent_diameter[graph.unions.index("U01")] / 2
    along = (1.0 - bark) / np.cos(slope)  # from the bark (measured out from the stem's axis) to the plane of the rope
    assert catches[0].label == "U01"
    assert catches[0].slide == pytest.approx(along - 0.10, abs=0.08)


def test_steep_drooping_limb_lets_the_rope_slide_off():
    """A limb that droops more steeply than the friction angle does not hold the rope."""
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (7.0, 0, -30, 3.0, 0.2, 0.2)], stem=0.5, top=0.3)
    catches, _, _ = chain(graph)
    assert [c.label for c in catches] == ["ground"]


@pytest.mark.parametrize(("droop", "stays"), [(8.0, True), (9.0, False), (12.0, False)])
def test_a_drooping_limb_must_hold_at_the_low_end_of_friction(droop, stays):
    """The rope stays where tan(droop) is below the low friction 0.15 (8.5 degrees); the middle one, 0.30, would hold at 16.7."""
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (7.0, 0, -droop, 3.0, 0.2, 0.2)], stem=0.5, top=0.3)
    catches, _, _ = chain(graph)
    assert (np.tan(np.radians(droop)) < LoadSettings().mu_bark[0]) == stays
    assert [c.label for c in catches] == (["U01", "ground"] if stays else ["ground"])


def test_a_rising_limb_lets_the_rope_slide_at_the_middle_friction():
    """Rising at 12 degrees the rope stays where it lands (tan 12 = 0.21, below the middle 0.30); at 20 (0.36) it slides to the union."""
    for rise, slides in ((12.0, False), (20.0, True)):
        graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (6.5, 0, rise, 2.5, 0.2, 0.2)], stem=0.5, top=0.3)
        catches, _, _ = chain(graph)
        assert catches[0].label == "U01"
        assert (catches[0].slide > 0.3) == slides


def test_two_backups_on_the_limb_that_breaks_are_one():
    """Anchor and back-up on one limb are seen as a common cause, and the break of that limb leaves nothing."""
    graph = tree([(5.0, 0, 20, 4.0, 0.22, 0.10)], stem=0.5, top=0.3)
    limb = graph.limbs.nodes[1]
    xyz, radius, parent = list(graph.xyz), list(graph.radius), list(graph.parent)
    for k in (3, 6):  # two side branches of the one limb
        at = int(limb[k])
        for i in range(1, 5):
            xyz.append(graph.xyz[limb[k]] + np.array([0.0, 0.4 * i, 0.25 * i]))
            radius.append(0.05)
            parent.append(at)
            at = len(xyz) - 1
    graph = assemble(xyz, radius, parent)
    outer, inner = "U03", "U02"
    via = [int(graph.unions.arm_node[graph.unions.laterals(graph.unions.index(inner))[0]]) + 1]
    (check,) = checked(graph, [configuration(graph, outer, "SRS basal", via=via, base=(0.5, 3.0, 0.0))], reported=("limb 1 hollow 0.3",))
    assert graph.limb[common_node(graph.parent, check.configuration.rest_node, via[0])] == 1
    assert check.common_cause == Reason("back_up_breaks_too", anchor="U03", others=("U02",))
    assert not check.redundant


def test_common_node_is_where_two_ways_part():
    """Of every pair of nodes of a random tree: the highest node that is on both ways to the ground."""
    graph = random_tree(3, limbs=6)
    ways = []
    for i in range(0, len(graph), 5):
        way = [i]
        while graph.parent[way[-1]] >= 0:
            way.append(int(graph.parent[way[-1]]))
        ways.append(way)
    for a in ways:
        for b in ways:
            assert common_node(graph.parent, a[0], b[0]) == next(i for i in a if i in b)


def two_leaders():
    """A stem that forks at 4 m into two leaders alike, each with an upper and a lower limb outward."""
    xyz, radius, parent = [np.zeros(3)], [0.35], [-1]

    def grow(at, azimuth, slope, length, thick, thin):
        a, s = np.radians([azimuth, slope])
        d, first = np.array([np.cos(a) * np.cos(s), np.sin(a) * np.cos(s), np.sin(s)]), len(xyz)
        for i in range(1, round(length / 0.5) + 1):
            xyz.append(xyz[at] + d * 0.5)
            radius.append(thick + (thin - thick) * 0.5 * i / length)
            parent.append(at)
            at = len(xyz) - 1
        return range(first, at + 1)

    fork = grow(0, 0, 90, 4, 0.35, 0.33)[-1]
    for azimuth, thick in ((0, 0.26), (180, 0.25)):
        leader = grow(fork, azimuth, 70, 8, thick, thick - 0.04)
        grow(leader[6], azimuth, 0, 2.5, 0.10, 0.08)
        grow(leader[11], azimuth, 0, 2.5, 0.06, 0.05)
    return assemble(xyz, radius, parent, radius_sd=0.02 * np.array(radius))


@pytest.mark.parametrize("side", [1, -1])
def test_a_shared_leader_is_told_on_either_leader(side):
    """Of two leaders one counts as the stem: an anchor and a back-up on it stand on shared wood just as on the other."""
    graph = two_leaders()
    whole = state(graph)
    limb = next(k for k, n in enumerate(graph.limbs.nodes) if len(n) == 5 and side * graph.xyz[n[-1], 0] > 0 and graph.xyz[n[-1], 2] > 8.5)
    line = graph.limbs.nodes[limb]
    point = 0.5 * (graph.xyz[line[1]] + graph.xyz[line[0]])
    at = at_node(graph, int(line[1]), point)
    catches, _, cause = told(failure_chain(whole, True, [at], point + np.array([0, 1.3, -3.0]), np.array([point[0], -1.5, 0.5]), int(line[0])))
    assert len(catches) == 2
    leader = int(graph.limb[graph.parent[line[0]]])
    assert (cause.code, cause["back_up"]) == ("back_up_same_wood", catches[0].label)
    if leader:
        assert cause["wood"] == Reason("limb_itself", limb=leader)
    else:
        assert cause["wood"].code == "stem_above_limb"
        assert cause["wood"]["height"] == pytest.approx(4.0)


def test_the_stem_below_all_limbs_is_no_shared_leader(fork):
    """Two limbs on a plain stem share only the stem below the lower one, which everything stands on."""
    assert chain(fork)[2] is None


def test_pierced_finds_what_pierces():
    """Segments through a triangle are found exactly where brute force finds them."""
    graph = random_tree(4, limbs=12)
    corner, a, b = np.array([-1.0, -2, 0]), np.array([0.3, 0.5, 9.0]), np.array([2.0, 1.5, 3.0])
    nodes, points = pierced(graph, np.zeros(len(graph), bool), corner, a, b)
    normal = np.cross(a - corner, b - corner)
    expected = []
    for i in range(1, len(graph)):
        p, q = graph.xyz[graph.parent[i]], graph.xyz[i]
        sp, sq = (p - corner) @ normal, (q - corner) @ normal
        if sp * sq > 0 or sp == sq:
            continue
        x = p + (q - p) * sp / (sp - sq)
        inside = [np.cross(v - u, x - u) @ normal for u, v in ((corner, a), (a, b), (b, corner))]
        if min(inside) >= 0:
            expected.append(i)
    assert sorted(nodes) == expected
    assert np.abs((points - corner) @ normal).max() < 1e-9 * np.linalg.norm(normal)


def test_unseen_catcher_is_named_without_a_number():
    """A limb behind a gap in the scan may catch, but no strength is stated for it."""
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 0, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.3)
    seen = np.ones(len(graph), bool)
    lower = graph.limbs.nodes[int(graph.unions.arm_limb[graph.unions.laterals(graph.unions.index("U01"))[0]])]
    seen[lower[1]] = False
    graph = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=graph.radius_sd, seen=seen)
    catches, redundant, _ = chain(graph)
    assert catches[0].label == "U01"
    assert not catches[0].margin.known
    assert catches[0].reason["low"] is None
    assert "Its strength was not seen." in say(catches[0].reason)
    assert not redundant


def test_stem_top_breaks_and_takes_the_anchor():
    """On a slender top the stem itself goes first; what stands below it on the stem can still catch."""
    graph = tree([(11.0, 0, 10, 1.5, 0.075, 0.075), (9.5, 0, 0, 2.0, 0.10, 0.10)], stem=0.36, top=0.06, height=12.0)
    (check,) = checked(graph, [configuration(graph, "U02", "SRS basal", distance=0.1, base=(0.3, -0.6, 0.5))], work=[[0.3, 2.5, 7.5]])
    assert graph.limb[check.check.governing] == 0
    assert graph.xyz[check.check.governing, 2] > 9.5
    assert [c.label for c in check.catches] == ["U01", "ground"]


def test_every_likely_break_has_its_own_chain():
    """Where the limb at its union and the slender stem below it are used alike (by the one share for all wood), both breaks are told: what goes with each, and where the
    rope goes; the anchor is redundant only if each of them is caught."""
    graph = tree([(11.0, 0, 10, 1.5, 0.075, 0.075), (9.5, 0, 0, 2.0, 0.10, 0.10)], stem=0.36, top=0.06, height=12.0)
    (check,) = checked(graph, [configuration(graph, "U02", "SRS basal", distance=0.2, base=(0.3, -0.6, 0.5))], work=[[0.3, 2.5, 7.5]], strength_model=ONE_SHARE)
    kinds = {b.kind: b for b in check.breaks}
    assert {"stem", "union tear-out"} <= set(kinds)
    assert check.catches == check.breaks[0].catches
    assert check.breaks[0].use >= check.breaks[1].use >= 0.5 * check.breaks[0].use
    assert check.redundant == all(b.redundant for b in check.breaks)
    assert graph.limb[kinds["stem"].node] == 0
    assert graph.limb[kinds["union tear-out"].node] != 0
    mass = state(graph).sections.weight / G
    for b in check.breaks:
        assert b.reason["mass"] == pytest.approx(mass[b.node])
    assert mass[kinds["stem"].node] > mass[kinds["union tear-out"].node]
    assert [c.label for c in kinds["stem"].catches] == ["U01", "ground"]
    assert kinds["union tear-out"].catches[0].label == "U01"


def test_redundant_only_where_held_from_every_place():
    """Held from the place of the hardest pull, 14 m up, on a limb 1.2 m below the one that breaks. The same limb holds a climber at 9 m too,
    not one at 6 m, whose feet come to the ground on the stretch, nor one so far out that the rope
    sweeps past the limb; a place where the feet are not clear of the ground to begin with spoils nothing."""
    graph = tree([(16.0, 0, 0, 3.0, 0.16, 0.16), (14.8, -2, 0, 3.0, 0.32, 0.32)], height=20.0, stem=0.8, top=0.5, step=0.4)
    r = configuration(graph, "U02", "SRS basal", distance=1.2, base=(1.2, -1.0, 0.5))
    whole = state(graph)
    (contact,) = contacts_of(whole, r)
    for z, held, why in (
        (9.0, True, None),
        (6.0, False, Reason("catch_fails", catch="U01", against=(Reason("feet_may_strike"),), more=False)),
        (2.6, False, Reason("catch_leaves_rope")),
        (1.5, True, None),
    ):
        low = np.array([1.2, 1.0, z])
        (check,) = checked(graph, [r], work=[[1.2, 1.0, 10.0], low, [2.0, 1.5, 11.0]])
        (only,) = (b for b in check.breaks if b.likely)
        alone_there = failure_chain(whole, True, [contact], low, np.asarray(r.base), only.node)
        assert check.catches[0].margin.p5 > LoadSettings().holds_p5
        assert check.catches[0].reason["lowest"]["feet"] == pytest.approx(7.8, abs=0.05)  # 14 m less 2.0 m drop, 3.2 m stretch and 1 m to the feet
        assert check.redundant == only.redundant == held
        told = only.reason["why"]
        assert (told is None) == held
        if not held:
            assert (told.code, told["place"], told["why"]) == ("fails_from_work", Reason("work_lowest", height=z), why)
        if z > 2:
            assert alone_there.redundant == held
            assert alone_there.reason == why
    (check,) = checked(graph, [r], work=[[1.2, 1.0, 10.0], [1.2, -4.0, 11.0]])
    assert not check.redundant
    told = check.breaks[0].reason["why"]
    assert (told["place"].code, told["why"]) == ("work_farthest", Reason("nothing_catches"))
    assert told["place"]["out"] == pytest.approx(4.0, abs=0.05)
    assert say(told) == "with the climber at the work point farthest out, 4.0 m (13.1 ft) from plumb, nothing catches the rope"


def test_why_it_is_not_held_is_told(fork):
    """The reason names what catches and what is wanting: its strength, the ground, or that nothing is there."""
    limb = chain_of(tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 0, 0, 3.0, 0.09, 0.09)], stem=0.5, top=0.3))
    p5 = limb.catches[0].margin.p5
    assert p5 < 1.5
    assert (limb.reason.code, limb.reason["catch"]) == ("catch_fails", "U01")
    assert limb.reason["against"][0] == Reason("catch_weak", low=p5, asked=1.5)
    assert [r.code for r in chain_of(fork).reason["against"]] == ["catch_weak", "feet_may_strike"]
    assert say(limb.reason).startswith(f"U01 catches, but its strength at the low end is {p5:.2f} times the stress of that stop (1.5 is needed)")
    assert chain_of(tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 180, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.3)).reason == Reason("nothing_catches")


def test_one_break_is_not_told_twice():
    """The union and the limb's section beside it are one place: one chain, one story."""
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 0, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.4, step=0.1)
    (check,) = checked(graph, [configuration(graph, "U02", "SRS basal", base=(0.3, -0.6, 0.5))])
    assert [b.kind for b in check.breaks if b.likely] == ["union tear-out"]


@pytest.mark.parametrize("system", ["SRS canopy", "SRS basal"])
def test_this_union_and_the_stem_are_told_apart(system):
    """On a stout stem the union is the likely break; what follows when the stem snaps is told besides, as a snap of the stem, and does not make the
    anchor less redundant. On a slender stem the snap is among the likely ones."""
    stout = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 0, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.4, step=0.1)
    slender = tree([(UPPER, 0, 70, 2.0, 0.16, 0.14), (LOWER, 0, 0, 3.0, 0.2, 0.2)], stem=0.17, top=0.12, step=0.1)
    kinds = []
    for graph, work in ((stout, None), (slender, [[2.5, 0, UPPER - 3.0]])):
        (check,) = checked(graph, [configuration(graph, "U02", system, base=(0.3, -0.6, 0.5))], work=work)
        stem = [b for b in check.breaks if b.kind == "stem"]
        assert len(stem) == 1 and stem[0].reason.code == "stem_breaks" and graph.limb[stem[0].node] == 0
        assert any(b.kind != "stem" for b in check.breaks)
        assert check.breaks[0].likely and check.catches == check.breaks[0].catches
        assert check.redundant == all(b.redundant for b in check.breaks if b.likely)
        if system == "SRS canopy":
            codes = {b.kind == "stem": b.catches[0].reason.code for b in check.breaks}
            assert codes == {True: "stem_goes_to_ground", False: "rope_goes_to_ground"}
        kinds.append([(b.kind == "stem", b.likely) for b in check.breaks])
    assert (True, False) in kinds[0]
    assert (True, True) in kinds[1]


def test_lower_stem_is_no_question_of_back_up():
    """Sections below the lowest limb are left out of the chain: whatever stands on the tree goes with them."""
    graph = tree([(UPPER, 0, 0, 3.0, 0.14, 0.14), (LOWER, 0, 0, 3.0, 0.2, 0.2)])
    left = leaves_limbs(graph, 0.05)
    stem = graph.limbs.nodes[0]
    assert not left[stem[graph.xyz[stem, 2] <= LOWER]].any()
    assert left[stem[graph.xyz[stem, 2] > LOWER]].all()
    assert left[graph.limb > 0].all()


@pytest.mark.parametrize("seed", range(6))
def test_shared_wood_is_what_networkx_finds_by_cutting(seed):
    """Anchor and back-up are told to share wood exactly when the loss of one section above the lowest limb that can catch a rope cuts both off
    from the ground: a dominator of both in networkx's graph of the tree."""
    graph = random_tree(seed, limbs=14, height=16, dbh=0.5)
    t = state(graph)
    ways = nx.DiGraph((int(p), i) for i, p in enumerate(graph.parent) if p >= 0)
    above = nx.immediate_dominators(ways, 0)

    def needed(node):
        out = [node]
        while out[-1] != 0:
            out.append(above[out[-1]])
        return set(out)

    rng, said = np.random.default_rng(seed), []
    for a, b in rng.integers(1, len(graph), (40, 2)):
        both = needed(int(a)) & needed(int(b))
        shared = _shared(t, at_node(graph, int(a), graph.xyz[a]), at_node(graph, int(b), graph.xyz[b]))
        said.append(shared is not None)
        assert (shared is not None) == any(t.leaves_limbs[n] for n in both)
    assert 0 < sum(said) < len(said)
