"""The climber's moment at the stem's foot beside a gust's, against cylinders worked out by hand."""

import numpy as np
import pytest
from loads.stick_trees import PLAIN, checked, configuration, tree
from strategies import alone

from treescan.loads.history.foot_gust import foot_gust
from treescan.loads.settings import LoadSettings
from treescan.loads.site_history import SiteHistory
from treescan.loads.statics.structural_model import whole_tree

STATION = SiteHistory(station_gust=20.0, exposure="open")


def gust_of(g, history=STATION):
    """At the section nearest the ground."""
    return foot_gust(whole_tree(g, alone(g), PLAIN, LoadSettings(history=history)), 1)


def test_a_bare_pole_in_wind():
    """M = rho C U^2 d H^2 / 4 of a plumb cylinder, C = 1.0; the low end of C (log sd 0.45) is 0.477 of it."""
    gust = gust_of(tree([], height=12, stem=0.3, top=0.3))
    assert gust.moment == pytest.approx(1.225 * 400 * 0.3 * 144 / 4, rel=1e-6)
    assert gust.low / gust.moment == pytest.approx(0.477, abs=0.001)


def test_the_wind_that_bends_least_counts():
    """A level limb of 4 m at 8 m: along it the wind adds nothing, so nothing is what it adds; two limbs square to each other add one."""
    bare, limbed = tree([], height=12, stem=0.3, top=0.3), tree([(8.0, 0, 0, 4.0, 0.2, 0.2)], height=12, stem=0.3, top=0.3)
    assert gust_of(limbed).moment == pytest.approx(gust_of(bare).moment, rel=1e-6)
    both = tree([(8.0, 0, 0, 4.0, 0.2, 0.2), (8.0, 90, 0, 4.0, 0.2, 0.2)], height=12, stem=0.3, top=0.3)
    assert gust_of(both).moment == pytest.approx(1.225 * 400 * (0.3 * 144 / 4 + 0.2 * 4 * 8 / 2), rel=0.01)


@pytest.mark.parametrize(
    "site", [SiteHistory(), SiteHistory(station_gust=20.0, years=0), SiteHistory(station_gust=20.0, changed="damaged"),
             SiteHistory(station_gust=20.0, exposure="enclosed")]
)  # fmt: skip
def test_a_gust_nobody_knows_is_told_as_not_assessed(site):
    """No station, no year that counts, or a site without wind: no number, and the words."""
    g = tree([(9.0, 0, 30, 3.0, 0.16, 0.12)], height=12, stem=0.4, top=0.3)
    assert gust_of(g, site) is None
    assert checked(g, [configuration(g, "U01", "SRS canopy")], history=site)[0].check.notes[0].code == "roots_not_assessed"


def test_the_share_is_that_of_the_rope_alone():
    """A plumb rope on a level limb: pull times distance from the stem, over the gust's moment, and over its low end."""
    g = tree([(9.0, 0, 0, 3.0, 0.3, 0.3)], height=12, stem=0.5, top=0.4)
    (check,) = checked(g, [configuration(g, "U01", "SRS canopy", distance=1.0)], history=STATION)
    told, gust = check.check.notes[0], gust_of(g)
    assert told.code == "roots_beside_a_gust"
    assert told["climber"] == pytest.approx(np.linalg.norm(check.force) * 1.0, rel=0.06)
    assert told["share"] == pytest.approx(told["climber"] / gust.moment)
    assert told["most"] == pytest.approx(told["climber"] / gust.low)
