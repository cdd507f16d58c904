"""Where one may stand: every reason for leaving a place out holds, and places left in keep every distance."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, upright

from treescan.reason import Reason
from treescan.throw.scene.stances import standing_places
from treescan.throw.settings import ThrowSettings
from treescan.trees.beside import KINDS, Beside, Conductor, Foliage, Site, Surroundings, Terrain

TREE = upright([Limb(6.0, EAST, length=3.0)])
SETTINGS = ThrowSettings()
SQUARE = np.array([[2.0, 2.0], [6.0, 2.0], [6.0, 6.0], [2.0, 6.0]])


def _inside(xyz):
    return np.all((xyz[:, :2] > 2.0) & (xyz[:, :2] < 6.0), axis=1)


@pytest.mark.parametrize(
    ("field", "code"),
    [("no_stand", "place_no_stand_area"), ("buildings", "place_building"), ("roads", "place_road"), ("water", "place_water")],
)
def test_no_place_inside_a_drawn_area(field, code):
    """Each kind of drawn area empties itself, and the count of refused places says so."""
    before = standing_places(TREE, flat(TREE), Site(), SETTINGS)
    after = standing_places(TREE, flat(TREE), Site(**{field: (SQUARE,)}), SETTINGS)

    assert _inside(before.xyz).sum() > 0
    assert _inside(after.xyz).sum() == 0
    assert dict(after.refused)[Reason(code)] == len(before) - len(after) == _inside(before.xyz).sum()


def test_no_place_near_a_conductor():
    """Every place left is farther from the drawn line than the setting asks."""
    line = np.array([[-40.0, 12.0, 8.0], [40.0, 12.0, 8.0]])
    places = standing_places(TREE, flat(TREE), Site(conductors=(Conductor(line),)), SETTINGS).xyz
    gap = np.hypot(places[:, 1] - 12.0, places[:, 2] + SETTINGS.release_height - 8.0)

    assert 0 < len(places) < len(standing_places(TREE, flat(TREE), Site(), SETTINGS))
    assert gap.min() >= SETTINGS.conductor_distance


def test_no_place_on_ground_too_steep_and_feet_are_on_the_terrain():
    """East of the stem the ground rises at 45 degrees: nobody stands there."""
    terrain = Terrain.flat(0.0, half_width=30.0, cell=0.5)
    x = terrain.corner[0] + (np.arange(terrain.height.shape[1]) + 0.5) * 0.5
    steep = dataclasses.replace(terrain, height=np.tile(np.maximum(x - 3.0, 0.0), (len(terrain.height), 1)))
    places = standing_places(TREE, Beside(steep), Site(), SETTINGS)

    assert dict(places.refused)[Reason("place_too_steep")] > 0
    assert places.xyz[:, 0].max() < 4.0
    assert np.allclose(places.xyz[:, 2], steep.height_at(places.xyz[:, :2]))


def test_no_place_against_a_wall_or_with_the_hand_in_leaves_or_wood():
    """A wall north, leaves south at hand height, and a limb low enough to meet the arm east."""
    wall = np.array([[x, 4.0, z] for x in np.arange(-6, 6, 0.2) for z in np.arange(0.1, 3, 0.2)])
    around = Surroundings(wall, np.full(len(wall), KINDS.index("building"), np.uint8))
    leaf = Foliage(np.ones((6, 3, 2), np.float32), np.array([-3.0, -6.0, 1.0]), 1.0)
    low = upright([Limb(2.0, EAST, length=5.0)])
    base = flat(low)
    places = standing_places(low, Beside(base.terrain, leaf, around), Site(), SETTINGS)
    refused = dict(places.refused)

    assert refused[Reason("place_in_solid")] > 0
    assert refused[Reason("place_hand_in_leaves")] > 0
    assert refused[Reason("place_arm_in_wood")] > 0
    assert np.abs(places.xyz[:, 1] - 4.0)[np.abs(places.xyz[:, 0]) < 5.5].min() >= 0.4
    assert leaf.density_at(places.xyz + np.array([0, 0, SETTINGS.release_height])).max() <= SETTINGS.foliage_limit
