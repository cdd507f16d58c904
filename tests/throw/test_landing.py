"""Where a bag comes down is told where that wants a word, with the areas it lies in or beyond."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, upright

from treescan.outputs.text.say import say
from treescan.throw.detail.landing import Grounds, bag_comes_down
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Area, Beside, Site, Terrain

FOOT, FEET = np.zeros(3), np.array([0.0, -8.0, 0.0])
LEVEL = Terrain.flat(0.0)
ROAD = Area("road", "lane", np.array([[-20.0, 3], [20, 3], [20, 6], [-20, 6]]))
STEPS = Area("no_stand_area", "", np.array([[-20.0, 9], [20, 9], [20, 30], [-20, 30]]))


def told(place, areas=(ROAD, STEPS), terrain=LEVEL):
    return bag_comes_down(Grounds(tuple(areas), terrain), FOOT, FEET, np.array(place, float))


def test_near_and_open_ground_wants_no_word():
    """2 m beyond the stem, nearer than the stand, before the road."""
    assert told((0, 2)) is None


def test_a_bag_in_an_area_names_it_and_what_its_line_lies_across():
    """5 m north: in the lane. 15 m north: in the closed ground, across the lane, farther out than the stand."""
    near, far = told((0, 5)), told((0, 15))

    assert [(a["kind"], a["name"]) for a in near["within"]] == [("road", "lane")] and near["across"] == ()
    assert near["farther_than"] is None and near["closed"]
    assert [a["kind"] for a in far["within"]] == ["no_stand_area"] and [a["name"] for a in far["across"]] == ["lane"]
    assert (far["away"], far["bearing"], far["farther_than"]) == (15.0, 0.0, 8.0)


def test_a_bag_beyond_an_area_is_told_however_near_it_comes_down():
    """7 m north lies between lane and closed ground: nearer than the stand, but the line falls across the lane."""
    beyond = told((0, 7))

    assert beyond["within"] == () and [a["name"] for a in beyond["across"]] == ["lane"]
    assert say(beyond) == (
        "The bag comes down 7 m (23 ft) north of the stem, and its line falls across the road “lane”. Throw only while nobody "
        "is there and nobody can come there."
    )


def test_a_far_bag_on_open_ground_and_one_beyond_the_scan_are_told():
    """12 m is farther than the 8 m of the stand; 80 m is off the grid of the terrain."""
    far, off = told((0, 12), ()), told((80, 0), ())

    assert far["farther_than"] == 8.0 and not far["closed"] and not far["unseen"]
    assert off["unseen"] and "where the scan shows no ground" in say(off)
    assert off["bearing"] == pytest.approx(np.pi / 2)


def test_lower_ground_is_told():
    """A terrain 4 m below the thrower's feet."""
    assert told((0, 12), (), Terrain.flat(-4.0))["below"] == pytest.approx(4.0)
    assert told((0, 12), (), Terrain.flat(-0.5))["below"] is None


@pytest.mark.parametrize("named", ["lane", ""])
def test_the_steps_of_a_throw_say_so(named):
    """Thrown from the south over a limb with a lane behind the tree: where the flight ends beyond it, the steps say so."""
    tree = upright([Limb(6.0, EAST, length=4.0)])
    lane = np.array([[-30.0, 1.0], [30, 1], [30, 2.0], [-30, 2.0]])
    site = Site(roads=(lane,), area_names={"roads": (named,)})
    settings = dataclasses.replace(ThrowSettings(), methods=("launcher",))
    beside: Beside = flat(tree)
    found = search_throws(tree, beside, site, Stances(np.array([[1.3, -6.0, 0.0]])), settings)

    assert found.best
    for t in found.best.values():
        end = t.path[-1, :2]
        (step,) = [s for s in t.steps if s.code == "throw_bag_comes_down"]
        assert end[1] > 2.0
        assert [(a["kind"], a["name"]) for a in step["across"]] == [("road", named or None)]
        assert step["away"] == pytest.approx(np.hypot(*end))
        assert np.cos(step["bearing"] - np.arctan2(*end)) == pytest.approx(1.0)
