"""The search over a whole tree: symmetry, empty cases, what is written into every throw."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, upright
from strategies import alone, random_tree

from treescan.errors import BadInput
from treescan.geometry import rotated_z
from treescan.reason import Reason, has
from treescan.settings import lines, merged
from treescan.sources import SOURCES
from treescan.throw.scene.stances import standing_places
from treescan.throw.search.search import search_throws
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Conductor, Site
from treescan.wood.topology.assemble import assemble

SETTINGS = dataclasses.replace(ThrowSettings(), methods=("hand",), stance_spacing=3.0, near_worth=1.0)
SETTINGS = dataclasses.replace(SETTINGS, limb_cost=0.0, overshoot_cost=0.0, nearly_as_good=0.0, wind_speed=0.0)
"""No wind; every throw that serves counts in full here and the likeliest place is taken, so that what is chosen and what is told are one and the same number."""


def _few(graph, count=10):
    stances = standing_places(graph, alone(graph), Site(), SETTINGS)
    return Stances(stances.xyz[:: max(1, len(stances) // count)])


def _same_tree(graph, xyz):
    return assemble(xyz, graph.radius, graph.parent, segment_radius=graph.segment_radius)


@pytest.fixture(scope="module")
def searched():
    graph = random_tree(3)
    stances = _few(graph)
    return graph, stances, search_throws(graph, alone(graph), Site(), stances, SETTINGS)


@pytest.mark.parametrize("turn", [0.5, 2.0])
def test_turning_tree_and_places_about_the_vertical_changes_nothing(searched, turn):
    """Chances stay, best azimuths turn along."""
    graph, stances, before = searched
    turned = _same_tree(graph, rotated_z(graph.xyz, turn))
    after = search_throws(turned, alone(turned), Site(), Stances(rotated_z(stances.xyz, turn)), SETTINGS)

    assert np.abs(after.chance - before.chance).max() < 2e-3
    assert set(after.best) == set(before.best)
    for key, throw in before.best.items():
        assert after.best[key].chance == pytest.approx(throw.chance, abs=5e-3)
    same = [k for k, t in before.best.items() if after.best[k].stance == t.stance]
    assert len(same) >= 0.9 * len(before.best)
    for key in same:
        off = (after.best[key].azimuth - before.best[key].azimuth + turn + np.pi) % (2 * np.pi) - np.pi
        assert abs(off) < np.radians(3)


def test_a_mirror_image_has_the_same_chances(searched):
    """East and west exchanged: the same chances from the mirrored places."""
    graph, stances, before = searched
    flip = np.array([-1.0, 1.0, 1.0])
    mirrored = _same_tree(graph, graph.xyz * flip)
    after = search_throws(mirrored, alone(mirrored), Site(), Stances(stances.xyz * flip), SETTINGS)

    assert np.abs(after.chance - before.chance).max() < 2e-3


def test_standing_places_turn_with_the_tree():
    """The same places, turned, in the same order."""
    graph = random_tree(4)
    turned = _same_tree(graph, rotated_z(graph.xyz, 1.1))
    a = standing_places(graph, alone(graph), Site(), SETTINGS)
    b = standing_places(turned, alone(turned), Site(), SETTINGS)

    assert a.refused == b.refused
    assert np.allclose(rotated_z(a.xyz, 1.1), b.xyz, atol=1e-6)


def test_every_throw_is_complete_and_consistent(searched):
    """The line runs from the hand over the wanted limb; supports, captured limbs and steps fit the class."""
    graph, stances, table = searched
    assert table.best
    for (u, k), throw in table.best.items():
        assert throw.union == u and throw.isolation_class == k
        assert SETTINGS.min_chance <= throw.chance <= 1
        assert throw.expected_throws == pytest.approx(1 / throw.chance)
        assert np.allclose(throw.stand, stances.xyz[throw.stance])
        assert np.allclose(throw.path[0], throw.stand + np.array([0, 0, SETTINGS.release_height]), atol=1e-6)
        assert SETTINGS.hand.speed_low <= throw.speed <= SETTINGS.hand.speed_high
        assert SETTINGS.hand.elevation_low <= throw.elevation <= SETTINGS.hand.elevation_high
        assert len(throw.supports) >= 1 and np.all((throw.supports > 0) & (throw.supports < len(graph)))
        assert throw.min_weight <= SETTINGS.bag_mass
        assert throw.workings == 0 or (k > 1 and (len(throw.captured) > 0 or has(throw.steps, "throw_pull_back")))
        assert len(throw.captured_unions) <= len(throw.captured)
        assert has(throw.steps, "throw_stand_and_aim") and len(throw.steps) >= 4
        arms = [a for a in range(graph.unions.arms(u).start, graph.unions.arms(u).stop)]
        wanted = {int(graph.unions.arm_limb[a]) for a in arms}
        assert wanted & {int(graph.limb[n]) for n in throw.supports}
        assert throw.rest_distance <= graph.unions.parent_diameter[u] / 2 + SETTINGS.reach_along + 1e-6
    assert all(t.captured.size == 0 and t.workings == 0 for (u, k), t in table.best.items() if k == 1)


def test_nobody_gets_over_a_union_without_a_reason_being_named():
    """A union far above every limit is said to be out of reach; one with a throw has no such words."""
    graph = upright([Limb(6.0, EAST), Limb(38.0, EAST)], height=40.0)
    table = search_throws(graph, flat(graph), Site(), _few(graph), SETTINGS)

    assert (0, 1) in table.best and table.blocked_by[0] is None
    assert not any(u == 1 for u, _ in table.best)
    assert table.blocked_by[1].code == "throw_out_of_reach" and table.blocked_by[1]["needed"] > table.blocked_by[1]["limit"]


def test_no_place_or_no_union_gives_an_empty_table():
    """Zero places: shape (m, 0, 3). Zero unions: shape (0, s, 3)."""
    graph = random_tree(3)
    nowhere = search_throws(graph, alone(graph), Site(), Stances(np.zeros((0, 3))), SETTINGS)
    pole = upright([])
    no_union = search_throws(pole, flat(pole), Site(), Stances(np.array([[3.0, 0, 0]])), SETTINGS)

    assert nowhere.chance.shape == (len(graph.unions), 0, 3) and not nowhere.best and len(nowhere.blocked_by) == len(graph.unions)
    assert no_union.chance.shape == (0, 1, 3) and not no_union.best and no_union.blocked_by == ()


def test_no_aim_is_proposed_that_may_come_near_a_wire():
    """With a wire along the far side of the limb, high throws are out; the throws that are left do not come near it."""
    graph = upright([Limb(6.0, EAST, length=3.0)])
    wire = Site(conductors=(Conductor(np.array([[-20.0, 5.0, 7.0], [20.0, 5.0, 7.0]])),))
    stances = Stances(np.array([[1.2, -5.0, 0.0], [1.2, -3.0, 0.0]]))
    free = search_throws(graph, flat(graph), Site(), stances, SETTINGS)
    kept = search_throws(graph, flat(graph), wire, stances, SETTINGS)

    assert free.best[0, 1].chance > 0.5
    for throw in kept.best.values():
        gap = np.hypot(throw.path[:, 1] - 5.0, throw.path[:, 2] - 7.0)
        assert gap.min() > SETTINGS.wire_clearance
    assert kept.chance.max() <= free.chance.max()


def test_every_setting_has_unit_meaning_and_a_known_source():
    """No setting without its reason; every key is in the list of sources."""
    for line in lines(ThrowSettings()):
        assert line.meaning, line.name
        assert line.source in SOURCES, line.name


def test_a_setting_outside_its_range_is_refused():
    """A bag of 5 kg is not a throw bag."""
    assert merged(ThrowSettings(), {"bag_mass": 0.28}).bag_mass == 0.28
    with pytest.raises(BadInput, match="bag_mass"):
        merged(ThrowSettings(), {"bag_mass": 5.0})


def test_limits_that_leave_no_aim_are_refused():
    """Slowest above fastest, flattest above steepest."""
    with pytest.raises(BadInput, match="speed"):
        Method(speed_low=20.0, speed_high=10.0)
    with pytest.raises(BadInput, match="elevation"):
        Method(elevation_low=1.2, elevation_high=1.0)


def test_only_the_asked_unions_get_throws_and_theirs_stay_the_same(searched):
    """Asked for two unions of many: their throws and chances are those of the whole search; the others say that no line was looked for."""
    graph, stances, table = searched
    asked = sorted({u for u, _ in table.best})[:2]
    some = search_throws(graph, alone(graph), Site(), stances, SETTINGS, wanted=asked)
    rest = [u for u in range(len(graph.unions)) if u not in asked]

    assert {u for u, _ in some.best} == set(asked)
    assert np.abs(some.chance[asked] - table.chance[asked]).max() < 1e-6
    for key, throw in some.best.items():
        assert throw.chance == pytest.approx(table.best[key].chance, abs=1e-9)
    assert not some.chance[rest].any() and all(some.blocked_by[u] == Reason("throw_not_asked") for u in rest)


def test_map_best_place_and_best_method_tell_one_story():
    """Where a throw is proposed, the map's highest place is where it stands, with its very chance; no aim of another method or place of
    those worked out takes less time; the expected time is that of its own method.
    """
    graph = random_tree(3)
    stances = _few(graph)
    settings = dataclasses.replace(SETTINGS, methods=("hand", "two_hand", "launcher"))
    table = search_throws(graph, alone(graph), Site(), stances, settings)

    assert len({t.method for t in table.best.values()}) > 1
    for (u, k), throw in table.best.items():
        row = table.chance[u, :, k - 1]
        assert row[throw.stance] == pytest.approx(throw.chance, abs=1e-6)
        assert row.max() == row[throw.stance]
        method = settings.method(throw.method)
        assert throw.expected_seconds == pytest.approx(
            method.seconds_setup + method.seconds_throw / throw.chance + method.seconds_working * throw.workings
        )
        assert method.speed_low <= throw.speed <= method.speed_high


def test_the_best_throw_takes_no_longer_than_the_best_by_any_one_method():
    """Searched with each method alone, no union and class is served quicker than in the search with all methods, but for 2 % between the
    chance on a grid and the fine one. Every place is worked out finely, so that the coarse chance does not choose.
    """
    graph = random_tree(3)
    stances = _few(graph, 6)
    every = dataclasses.replace(SETTINGS, candidates=len(stances))
    together = search_throws(graph, alone(graph), Site(), stances, dataclasses.replace(every, methods=("hand", "launcher")))
    for name in ("hand", "launcher"):
        one = search_throws(graph, alone(graph), Site(), stances, dataclasses.replace(every, methods=(name,)))
        for key, throw in one.best.items():
            assert together.best[key].expected_seconds <= 1.02 * throw.expected_seconds + 1.0


def test_a_line_that_slides_in_comes_to_rest_in_the_crotch():
    """On a limb rising at 50 degrees: (R + r cos 40) / sin 40 from the axes, on top of the limb."""
    t = np.radians(40)
    graph = upright([Limb(6.0, EAST, rise=np.pi / 2 - t)], radius=0.12)
    throw = search_throws(graph, flat(graph), Site(), _few(graph), SETTINGS).best[(0, 1)]
    distance = (0.12 + 0.05 * np.cos(t)) / np.sin(t)

    assert throw.slides
    assert throw.rest_distance == pytest.approx(distance, abs=1e-3)
    assert throw.rest[2] == pytest.approx(6.0 + distance * np.cos(t) + 0.05 * np.sin(t), abs=5e-3)
