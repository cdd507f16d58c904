"""The window as the thrower sees it, against directions worked out by hand and the chance itself."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, upright

from treescan.outputs.text.say import say
from treescan.reason import Reason, has
from treescan.throw.detail.steps import each_once
from treescan.throw.detail.window import THROWS, throw_window
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Site

SETTINGS = dataclasses.replace(ThrowSettings(), methods=("hand",))
TREE = upright([Limb(6.0, EAST, length=3.0), Limb(8.0, EAST, length=3.0)])
"""Two level limbs to the east, radius 5 cm, at 6 m and 8 m."""


@pytest.fixture(scope="module")
def seen():
    """The best clean throw over the lower limb from 5 m south of it, and its window."""
    table = search_throws(TREE, flat(TREE), Site(), Stances(np.array([[1.0, -5.0, 0.0]])), SETTINGS)
    throw = table.best[0, 1]
    return throw, throw_window(TREE, flat(TREE), Site(), throw, SETTINGS)


def test_the_opening_lies_between_the_two_limbs(seen):
    """Seen from the hand, 1.5 m up and 5 m away, the lower limb stands at atan(4.5 / 5) = 42.0 deg, the upper at atan(6.5 / 5) = 52.4 deg."""
    throw, window = seen
    clean = window.over[window.over_class == 1]
    ahead = np.cos(clean[:, 0] + throw.azimuth)

    assert len(clean) > 100
    assert np.all(np.tan(clean[:, 1]) * 5.0 / ahead > 4.5)
    assert np.all(np.tan(clean[:, 1]) * 5.0 / ahead < 6.5)
    left, right, low, high = np.degrees(window.opening)
    assert left < 0 < right and 42.0 < low < high < 52.4


def test_the_wanted_limb_is_seen_where_it_is(seen):
    """Its ends, and its width 2 r / distance."""
    throw, window = seen
    hand = throw.stand + np.array([0.0, 0.0, SETTINGS.release_height])
    azimuth = window.limb_from[window.wanted, 0] + throw.azimuth
    height = np.tan(window.limb_from[window.wanted, 1]) * 5.0 / np.cos(azimuth)

    assert window.wanted.any()
    assert hand[2] + height == pytest.approx(6.0, abs=1e-6)
    assert window.limb_width[window.wanted] == pytest.approx(2 * 0.05 / window.limb_distance[window.wanted], rel=0.05)
    assert np.all(np.diff(window.limb_distance) <= 0)


def test_what_becomes_of_the_throws_adds_up_to_all_and_to_the_chance(seen):
    """Shares add up to 1; the clean share is the chance within three standard errors of as many throws."""
    throw, window = seen
    shares = dict(window.falls)
    clean = shares[Reason("bag_over_clean")]

    assert sum(shares.values()) == pytest.approx(1.0)
    assert abs(clean - throw.chance) < 3 * np.sqrt(throw.chance * (1 - throw.chance) / THROWS) + 1 / THROWS
    assert len(window.over) + len(window.stopped) <= THROWS


def test_a_limb_that_stops_bags_is_named():
    """With a limb hung across the flight just before the target, some bags are said to be stopped by that limb."""
    tree = upright([Limb(6.0, EAST, length=3.0), Limb(7.0, np.radians(150), length=3.0)])
    table = search_throws(tree, flat(tree), Site(), Stances(np.array([[1.0, -5.0, 0.0]])), SETTINGS)
    throw = next(table.best[0, k] for k in (1, 2, 3) if (0, k) in table.best)
    window = throw_window(tree, flat(tree), Site(), throw, SETTINGS)

    assert any(fall == Reason("bag_stopped", limb=Reason("limb_leaves_union", union="U02")) for fall, _ in window.falls)
    assert len(window.stopped) > 0


def test_a_throw_that_counts_on_striking_a_limb_says_so():
    """A limb hung close behind and above the target catches the nominal flight: the steps name it; without it they name none."""
    free = upright([Limb(6.0, EAST, length=3.0)])
    wall = upright([Limb(6.0, EAST, length=3.0), *(Limb(6.3 + 0.3 * i, np.radians(70), length=3.0) for i in range(8))])
    said = {}
    for name, tree in (("free", free), ("wall", wall)):
        table = search_throws(tree, flat(tree), Site(), Stances(np.array([[1.0, -5.0, 0.0]])), SETTINGS, wanted=[0])
        said[name] = [has(throw.steps, "throw_bag_strikes") for throw in table.best.values()]

    assert said["free"] and not any(said["free"])
    assert any(said["wall"])


def test_each_limb_is_named_once():
    """A limb the line crosses twice stands in the steps once, and long lists are cut short where they are said."""
    names = [Reason("limb_leaves_union", union=f"U{i % 9}") for i in range(18)]
    over = each_once(tuple(names))

    assert over == tuple(names[:9])
    assert say(Reason("throw_stays_over", over=over)).startswith("The line stays over the limb from U0, the limb from U1,")
    assert "and 4 more as well" in say(Reason("throw_stays_over", over=over))
