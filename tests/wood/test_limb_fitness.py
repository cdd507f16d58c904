"""Every limb has its own grade, and what a rescan of it would need follows from how the points lie on it."""

from dataclasses import replace

import numpy as np
import pytest
from wood.clouds import FORK, bark_points

from treescan.outputs.text.say import say
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph
from treescan.wood.quality.limb_fitness import bark_seen, limb_fitness, view_from

SIDE = 1
"""The side limb of `FORK`, which leaves towards +x."""


def known(relative: float, arc_deg: float = 360.0, seen: bool = True) -> WoodGraph:
    """`FORK` with the side limb known to so much of its radius, the stem known well."""
    of_side = FORK.limb == SIDE
    return replace(
        FORK, radius_sd=np.where(of_side, relative, 0.02) * FORK.radius, arc=np.radians(np.where(of_side, arc_deg, 360.0)), seen=FORK.seen & (seen | ~of_side)
    )


def of_limb(graph: WoodGraph, points: np.ndarray) -> dict:
    return limb_fitness(graph, points, np.radians(120))[SIDE]


def test_well_measured_limbs_want_nothing():
    """All round and known to 3 %: fit for what is on it, no wants, one row a limb."""
    fit = limb_fitness(known(0.03), bark_points(FORK), np.radians(120))

    assert [f["limb"] for f in fit] == [0, 1]
    assert [f["fit_for"] for f in fit] == ["main unions", "small limbs"]
    assert [f["rescan"] for f in fit] == [None, None]
    assert fit[SIDE]["measured"] == 1.0


@pytest.mark.parametrize(("place", "azimuth"), [((10, 0, 2.0), 270), ((0, -10, 2.0), 0)])
def test_a_limb_seen_from_one_side_says_where_to_stand(place, azimuth):
    """Seen from the east: stand in the west; from the south (-y): in the north."""
    told = of_limb(known(0.4, 100), bark_points(FORK, seen_from=place))

    assert told["fit_for"] == "nothing"
    view = told["rescan"]["view"]

    assert view.code == "view_from_side"
    assert np.degrees(view["azimuth"]) == pytest.approx(azimuth, abs=5) or np.degrees(view["azimuth"]) - 360 == pytest.approx(azimuth, abs=5)


def test_a_limb_hidden_in_gaps_asks_for_leaf_off():
    """Bridged all along: nothing, and the share hidden is said."""
    told = of_limb(known(0.03, seen=False), bark_points(FORK))

    assert told["fit_for"] == "nothing" and told["measured"] == 0.0
    assert told["rescan"]["hidden"] == pytest.approx(1.0)
    assert say(told["rescan"]).startswith("Rescan this limb. Do it leaf-off: 100 % of it is hidden.")


def test_points_that_scatter_ask_for_a_still_scanner_and_few_points_for_a_nearer_one():
    """4 cm of scatter on a limb of 5 cm radius is too unsteady; steady points that told nothing were too few."""
    unsteady = of_limb(known(0.4), bark_points(FORK, noise=0.03))["rescan"]
    few = of_limb(known(0.4), bark_points(FORK))["rescan"]

    assert unsteady["scatter"] == pytest.approx(0.03, rel=0.5) and not unsteady["nearer"]
    assert few["nearer"] and few["scatter"] is None


def test_scatter_and_sides_are_those_of_the_points():
    """3 mm of noise all round reads as 3 mm and no side; without points nothing is claimed."""
    seen = bark_seen(FORK, bark_points(FORK))

    assert seen.scatter[SIDE] == pytest.approx(0.003, rel=0.3)
    assert np.linalg.norm(seen.seen_from[SIDE]) < 0.15
    assert np.isnan(bark_seen(FORK, np.zeros((0, 3))).scatter).all()


def test_directions_to_look_from():
    """East is azimuth 90, straight up is from above, no direction is none."""
    assert view_from(np.array([0.5, 0.0, 0.1])) == Reason("view_from_side", azimuth=np.pi / 2)
    assert view_from(np.array([0.05, 0.0, 0.6])) == Reason("view_from_above")
    assert view_from(np.zeros(3)) is None
