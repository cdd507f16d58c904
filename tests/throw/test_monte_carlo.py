"""The deterministic chance against throwing 100 000 bags at random: the oracle, not the product's method."""

import dataclasses

import numpy as np
import pytest
from strategies import alone, random_tree

from treescan.throw.flight import flights
from treescan.throw.refine import Aim
from treescan.throw.scene import build_scene
from treescan.throw.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.stances import standing_places
from treescan.throw.sweep import throw_many
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Foliage, Site

SETTINGS = dataclasses.replace(ThrowSettings(), methods=("two_hand", "launcher"), snag_factor=0.02)
THROWS = 100_000


def _with_leaves(graph, seed):
    """Light random foliage round the crown, so that snags count too."""
    rng = np.random.default_rng(seed)
    beside = alone(graph)
    density = rng.uniform(0, 0.6, (14, 14, 18)).astype(np.float32) * (rng.random((14, 14, 18)) < 0.5)
    return dataclasses.replace(beside, foliage=Foliage(density, np.array([-7.0, -7.0, 4.0]), 1.0))


def _at_random(scene, feet, aim, method, union, rng):
    """Share of random throws about an aim that serve a union in class 1, 2 and 3, each caught by twigs with its own chance, and its standard error."""
    azimuth = np.sort(rng.normal(aim.azimuth, method.azimuth_sd, THROWS))
    elevation = rng.normal(aim.elevation, method.elevation_sd, THROWS)
    speed = rng.normal(aim.speed, method.speed_sd * aim.speed, THROWS)
    isolation, weight = np.zeros(THROWS, int), np.zeros(THROWS)
    for part in np.array_split(np.arange(THROWS), 20):
        table = flights(np.clip(elevation[part], 0.02, np.pi / 2 - 0.005), speed[part], SETTINGS)
        rows = np.arange(len(part), dtype=np.int32)[:, None]
        w, k, _ = throw_many(scene, feet, azimuth[part], table.height, table.step, rows, union)
        isolation[part], weight[part] = k[:, 0], w[:, 0]
    through = rng.random(THROWS) < weight
    p = np.array([np.mean(through & (isolation > 0) & (isolation <= c)) for c in (1, 2, 3)])
    return p, np.sqrt(np.maximum(p * (1 - p), 1e-9) / THROWS)


def _check(seed, unions):
    """Every class of some unions of one random tree: within three standard errors."""
    graph = random_tree(seed)
    beside = _with_leaves(graph, seed)
    stances = standing_places(graph, beside, Site(), SETTINGS)
    some = Stances(stances.xyz[:: max(1, len(stances) // 20)])
    table = search_throws(graph, beside, Site(), some, SETTINGS)
    scene, _ = build_scene(graph, beside, Site(), SETTINGS)
    rng = np.random.default_rng(1000 + seed)
    keys = [k for k in table.best if 0.03 < table.best[k].chance < 0.97] or list(table.best)
    off = []
    for u, c in [keys[i] for i in rng.permutation(len(keys))[:unions]]:
        throw = table.best[u, c]
        name = "launcher" if throw.method == "launcher" else "two_hand"
        p, se = _at_random(scene, throw.stand, Aim(throw.azimuth, throw.elevation, throw.speed), SETTINGS.method(name), u, rng)
        off.append((throw.chance - p[c - 1]) / se[c - 1])
    return np.array(off)


@pytest.mark.parametrize("seed", [1, 2])
def test_chance_agrees_with_100_000_random_throws(seed):
    """Three chances a tree, drawn from all unions and classes: each within three standard errors of random throwing."""
    off = _check(seed, 3)

    assert np.all(np.abs(off) < 3), off


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
def test_chance_agrees_with_random_throws_on_twenty_trees(seed):
    """Eight chances a tree on 20 trees, all classes: each within three standard errors of 100 000 random throws."""
    off = _check(100 + seed, 8)

    assert np.all(np.abs(off) < 3), off
