"""The deterministic chance against throwing 200 000 bags at random by an isotropic thrower: the oracle, not the product's method."""

import dataclasses

import numpy as np
import pytest
from oracles.isotropic_thrower import directions
from scipy.stats import binom, chi2, norm
from strategies import alone, random_tree

from treescan.throw.ballistics.flight import flights
from treescan.throw.outcome.many_throws import table_throws, throw_many
from treescan.throw.scene.flight_scene import build_scene
from treescan.throw.scene.stances import standing_places
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Aim, Stances
from treescan.trees.beside import Foliage, Site

SETTINGS = dataclasses.replace(ThrowSettings(), methods=("two_hand", "launcher"), snag_factor=0.02, wind_speed=0.0)
DIRECTIONS, EACH = 20_000, 10
"""200 000 random throws: so many planes, and so many random throws in each."""


def _with_leaves(graph, seed):
    """Light random foliage round the crown, so that snags count too."""
    rng = np.random.default_rng(seed)
    beside = alone(graph)
    density = rng.uniform(0, 0.6, (14, 14, 18)).astype(np.float32) * (rng.random((14, 14, 18)) < 0.5)
    return dataclasses.replace(beside, foliage=Foliage(density, np.array([-7.0, -7.0, 4.0]), 1.0))


def _at_random(scene, feet, aim, method, union, rng):
    """Share of random throws about an aim that serve a union in class 1, 2 and 3, each caught by twigs with its own chance, and its
    standard error.

    The thrower is the independent one of the oracles: directions turned alike in every direction about the aim. As many neighbours in
    azimuth as one plane takes are thrown in their common plane; with so many throws that moves none by more than a hair.
    """
    sd, n = method.spread_at(aim.speed), DIRECTIONS * EACH
    d = directions(0.0, aim.elevation, rng.normal(0.0, sd.elevation, n), rng.normal(0.0, sd.side, n))
    turn, up = np.arctan2(-d[:, 1], d[:, 0]), np.arcsin(np.clip(d[:, 2], -1.0, 1.0))
    order = np.argsort(turn)
    azimuth = aim.azimuth + turn[order].reshape(DIRECTIONS, EACH).mean(axis=1)
    elevation = np.clip(up, 0.02, np.pi / 2 - 0.005)[order].reshape(DIRECTIONS, EACH)
    speed = rng.normal(aim.speed, sd.speed * aim.speed, (DIRECTIONS, EACH))
    isolation, weight = np.zeros((DIRECTIONS, EACH), int), np.zeros((DIRECTIONS, EACH))
    for part in np.array_split(np.arange(DIRECTIONS), 20):
        table = flights(elevation[part].ravel(), speed[part].ravel(), SETTINGS)
        rows = np.arange(len(part) * EACH, dtype=np.int32).reshape(len(part), EACH)
        weight[part], isolation[part], *_ = throw_many(scene, feet, table_throws(azimuth[part], table.height, table.step, rows), union)
    through = rng.random((DIRECTIONS, EACH)) < weight
    p = np.array([(through & (isolation > 0) & (isolation <= c)).mean() for c in (1, 2, 3)])
    return p, np.sqrt(np.maximum(p * (1 - p), 1e-9) / n)


def _compare(seed, each_class):
    """Chance less its random counterpart in standard errors, for some unions of every class of one random tree: rows of (class, off)."""
    graph = random_tree(seed)
    beside = _with_leaves(graph, seed)
    stances = standing_places(graph, beside, Site(), SETTINGS)
    some = Stances(stances.xyz[:: max(1, len(stances) // 12)])
    table = search_throws(graph, beside, Site(), some, SETTINGS)
    scene = build_scene(graph, beside, Site(), SETTINGS)
    rng = np.random.default_rng(1000 + seed)
    off = []
    for c in (1, 2, 3):
        unions = [u for (u, k), t in table.best.items() if k == c and 0.03 < t.chance < 0.97]
        for u in rng.permutation(unions)[:each_class]:
            throw = table.best[u, c]
            name = "launcher" if throw.method == "launcher" else "two_hand"
            p, se = _at_random(scene, throw.stand, Aim(throw.azimuth, throw.elevation, throw.speed), SETTINGS.method(name), u, rng)
            off.append((c, (throw.chance - p[c - 1]) / se[c - 1]))
    return off


@pytest.mark.parametrize("seed", [1, 2])
def test_chance_agrees_with_200_000_random_throws(seed):
    """One chance of every class a tree: each within three standard errors of random throwing."""
    off = _compare(seed, 1)

    assert {c for c, _ in off} == {1, 2, 3}
    assert all(abs(z) < 3 for _, z in off), off


@pytest.fixture(scope="module")
def on_twenty_trees():
    """One chance of every class on each of 20 trees: class and difference in standard errors, both (n,)."""
    off = [row for seed in range(100, 120) for row in _compare(seed, 1)]
    return np.array([c for c, _ in off]), np.array([z for _, z in off])


@pytest.mark.slow
def test_chance_agrees_with_random_throws_on_twenty_trees_in_every_class(on_twenty_trees):
    """About 60 chances on 20 trees: no more beyond three standard errors than 99 runs in 100 of true chances would show, and none so
    far out that among so many comparisons it would be as rare as three standard errors are for one.
    """
    classes, off = on_twenty_trees
    n = len(off)

    assert n >= 50 and min(np.sum(classes == c) for c in (1, 2, 3)) >= 15
    assert np.sum(np.abs(off) > 3) <= binom.ppf(0.99, n, 2 * norm.sf(3))
    assert np.abs(off).max() < norm.isf(norm.sf(3) / n)


@pytest.mark.slow
@pytest.mark.parametrize("isolation_class", [1, 2, 3])
def test_chances_are_not_off_to_one_side(on_twenty_trees, isolation_class):
    """The mean difference of each class lies within three of its standard errors; the spread is that of random throwing: the sum of squares lies
    below what chance exceeds as rarely as three standard errors on one side (chi-square's own tail, which for 20 chances is longer than a normal's).
    """
    classes, off = on_twenty_trees
    z = off[classes == isolation_class]

    assert abs(z.mean()) < 3 / np.sqrt(len(z))
    assert np.sum(z**2) < chi2.isf(norm.sf(3), len(z))
