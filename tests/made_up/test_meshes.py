"""Triangles against the solids they stand for."""

from __future__ import annotations

import numpy as np
import pytest
from made_up.grow import grown
from made_up.leaves import BROAD, leaf_part
from made_up.meshes import Bark, Part, tube_part, wire_line, wood_part

from treescan.geometry import point_segment


def test_tubes_are_as_thick_as_their_limbs() -> None:
    """Facets of limbs over 2 cm lie within 1 mm of the round, tapered limb."""
    tree = grown(2)
    (part, *_) = wood_part(tree)
    node = part.node
    parent = tree.parent[node]
    same = (parent >= 0) & (tree.axis[node] == tree.axis[np.maximum(parent, 0)]) & (tree.segment_radius[node] > 0.01)
    middle = part.corners[part.triangles[same]].mean(axis=1).astype(float)
    a, b = tree.xyz[parent[same]], tree.xyz[node[same]]
    distance, share = point_segment(middle, a, b)
    radius = tree.radius[parent[same]] * (1 - share) + tree.radius[node[same]] * share
    inside = (share > 0.05) & (share < 0.95)

    error = (distance - radius)[inside]
    assert abs(np.median(error)) < 0.0005
    assert np.percentile(np.abs(error), 95) < 0.0012


@pytest.mark.parametrize("bark", [Bark(ellipse=0.1), Bark(rough=0.03), Bark(lobes=0.2), Bark(0.1, 0.02, 0.008, 0.1)])
def test_bark_keeps_the_sections_area(bark: Bark) -> None:
    """Ellipse, furrows and buttresses change the outline, not the mean square radius."""
    tree = grown(2)
    (part, *_) = wood_part(tree, bark=bark)
    (plain, *_) = wood_part(tree)

    def mean_square(p: Part) -> float:
        node = p.node
        pick = (tree.parent[node] >= 0) & (tree.axis[node] <= 1) & (tree.segment_radius[node] > 0.15)
        corners = p.corners[p.triangles[pick]].reshape(-1, 3).astype(float)
        row = np.repeat(node[pick], 3)
        return float(np.mean(point_segment(corners, tree.xyz[tree.parent[row]], tree.xyz[row])[0] ** 2))

    assert abs(mean_square(part) / mean_square(plain) - 1) < 0.01
    assert len(part.triangles) >= len(plain.triangles)


def test_every_triangle_knows_its_node() -> None:
    """Triangles lie next to the piece they are labelled with."""
    tree = grown(2)
    for part in wood_part(tree):
        child = np.maximum(part.node, 1)
        parent = tree.parent[child]
        middle = part.corners[part.triangles].mean(axis=1).astype(float)
        assert np.all(point_segment(middle, tree.xyz[parent], tree.xyz[child])[0] < tree.radius[parent] * 1.2 + 0.01)


def test_leaves_grow_on_living_twigs_as_densely_as_asked() -> None:
    """Leaf quads stand on twigs thinner than stated, so many per metre, and none on dead wood."""
    tree = grown(2)
    part = leaf_part(tree, BROAD, seed=1)
    child = np.nonzero((2 * tree.segment_radius <= BROAD.thickest) & ~tree.dead & (tree.parent >= 0))[0]
    metres = np.linalg.norm(tree.xyz[child] - tree.xyz[tree.parent[child]], axis=1).sum()

    assert abs(len(part.triangles) / 2 / metres / BROAD.per_metre - 1) < 0.02
    assert not tree.dead[part.node].any()


def test_a_wire_hangs_by_its_sag() -> None:
    """The middle of a wire lies below the line between its ends by the sag, and its tube is 12 mm thick."""
    line = wire_line(np.array([0.0, 0.0, 6.0]), np.array([20.0, 0.0, 6.0]), 0.5)
    part = tube_part(line, 0.006, "wire", 12)

    assert abs(line[len(line) // 2, 2] - 5.5) < 1e-9
    assert np.allclose(point_segment(part.corners[:, None].astype(float), line[:-1], line[1:])[0].min(axis=1), 0.006, atol=2e-4)
