"""Leaves on the fine twigs, and ivy on a stem: small quads that hide the wood behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from made_up.grown_tree import GrownTree
from made_up.meshes import PARTS, Part

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Leafing:
    """How a tree is leafed.

    Attributes
    ----------
    per_metre : float       Leaves (or needle sprays) per metre of fine twig.
    size : (float, float)   Length and breadth of a leaf. [m]
    thickest : float        Leaves grow on twigs up to this diameter. [m]
    """

    per_metre: float = 28.0
    size: tuple[float, float] = (0.075, 0.045)
    thickest: float = 0.009


BROAD = Leafing()
LIGHT = Leafing(per_metre=12.0, size=(0.06, 0.035))
NEEDLES = Leafing(per_metre=70.0, size=(0.035, 0.008), thickest=0.012)


def leaf_part(tree: GrownTree, leafing: Leafing = BROAD, *, seed: int = 0, label: str = "leaf") -> Part:
    """Leaves along the living twigs, turned at random with a tendency to lie level."""
    rng = np.random.default_rng([seed, 4099])
    child = np.nonzero((2 * tree.segment_radius <= leafing.thickest) & ~tree.dead & (tree.parent >= 0))[0]
    start, end = tree.xyz[tree.parent[child]], tree.xyz[child]
    count = rng.poisson(leafing.per_metre * np.linalg.norm(end - start, axis=1))
    row = np.repeat(np.arange(len(child)), count)
    foot = start[row] + rng.uniform(size=(len(row), 1)) * (end - start)[row]
    return _quads(rng, foot, np.array([0.0, 0.0, 1.0]), 0.8, leafing.size, label, child[row].astype(np.int32))


def ivy_part(tree: GrownTree, up_to: float, *, per_m2: float = 900.0, seed: int = 0) -> Part:
    """Ivy round the stem and the feet of the limbs up to a height [m]: a mat of leaves 2 to 18 cm off the bark."""
    rng = np.random.default_rng([seed, 5003])
    z = tree.xyz[:, 2] - tree.xyz[0, 2]
    child = np.nonzero((z <= up_to) & (tree.segment_radius > 0.06) & (tree.parent >= 0))[0]
    start, end = tree.xyz[tree.parent[child]], tree.xyz[child]
    length = np.linalg.norm(end - start, axis=1)
    thin_out = np.clip(1.2 * (1 - z[child] / up_to) + 0.3, 0.0, 1.0)
    count = rng.poisson(per_m2 * 2 * np.pi * tree.radius[child] * length * thin_out)
    row = np.repeat(np.arange(len(child)), count)
    d = ((end - start) / np.maximum(length, 1e-9)[:, None])[row]
    v = rng.normal(size=(len(row), 3))
    v -= np.sum(v * d, axis=1, keepdims=True) * d
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    off = tree.radius[child][row] + 0.02 + 0.16 * rng.beta(1.3, 2.0, len(row))
    foot = start[row] + rng.uniform(size=(len(row), 1)) * (end - start)[row] + off[:, None] * v
    return _quads(rng, foot, v, 1.2, (0.08, 0.07), "ivy", child[row].astype(np.int32))


def _quads(
    rng: np.random.Generator, foot: Floats, facing: Floats, tendency: float, size: tuple[float, float], label: str, node: NDArray[np.int32]
) -> Part:
    """Leaf quads (two triangles each) whose normals scatter about `facing`."""
    m = len(foot)
    normal = rng.normal(size=(m, 3)) + tendency * facing
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    along = np.cross(normal, rng.normal(size=(m, 3)))
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.cross(normal, along)
    scale = np.exp(rng.normal(0, 0.25, (m, 1)))
    a, b = along * scale * size[0], across * scale * size[1] / 2
    corners = np.stack([foot, foot + 0.45 * a + b, foot + a, foot + 0.45 * a - b], axis=1).reshape(-1, 3)
    i = np.arange(m)[:, None] * 4
    triangles = np.stack([i + np.array([0, 1, 2]), i + np.array([0, 2, 3])], axis=1).reshape(-1, 3)
    return Part(corners.astype(np.float32), triangles.astype(np.uint32), PARTS.index(label), np.repeat(node, 2))
