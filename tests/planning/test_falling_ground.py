"""Which way the ground falls at the tree is told where it is steep, and nowhere else."""

import numpy as np
import pytest

from treescan.outputs.text.say import say
from treescan.planning.climb.falling_ground import falling_ground
from treescan.trees.beside import Terrain

FOOT = np.array([3.0, -2.0, 0.0])


def bank(degrees: float, downhill: float) -> Terrain:
    """An even bank that falls by `degrees` towards the azimuth `downhill` [degrees]."""
    flat = Terrain.flat(0.0, FOOT, 15.0)
    x, y = (flat.corner[a] + (np.arange(flat.height.shape[1 - a]) + 0.5) * flat.cell for a in (0, 1))
    a = np.radians(downhill)
    along = x[None, :] * np.sin(a) + y[:, None] * np.cos(a)
    return Terrain(-np.tan(np.radians(degrees)) * along, flat.corner, flat.cell, flat.measured)


@pytest.mark.parametrize(("degrees", "downhill"), [(25.0, 90.0), (12.0, 200.0), (40.0, 359.0), (11.0, 0.0)])
def test_a_bank_is_told_with_its_angle_and_the_way_it_falls(degrees, downhill):
    """A plane of z = -tan(angle) along its azimuth gives back both."""
    (told,) = falling_ground(bank(degrees, downhill), FOOT)

    assert np.degrees(told["angle"]) == pytest.approx(degrees, abs=1e-6)
    assert np.cos(told["downhill"] - np.radians(downhill)) == pytest.approx(1.0, abs=1e-9)
    assert np.cos(told["uphill"] - told["downhill"]) == pytest.approx(-1.0, abs=1e-9)


def test_the_sentence_names_both_sides():
    """A bank that falls to the east rises to the west."""
    (told,) = falling_ground(bank(25.0, 90.0), FOOT)

    assert say(told).startswith("The ground at the tree falls 25° to the east; uphill is west.")


def test_nearly_level_ground_and_ground_not_seen_are_not_told():
    """9 degrees is no bank; unseen ground has no slope."""
    unseen = bank(25.0, 90.0)
    unseen.height[:] = np.nan

    assert falling_ground(bank(9.0, 90.0), FOOT) == ()
    assert falling_ground(unseen, FOOT) == ()
