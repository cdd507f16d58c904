"""The hand solution of the twelve cuts, against points counted in the solids and distances on paper."""

import numpy as np
import pytest

from oracles.twelve_cut_removal import (
    CUTS,
    DENSITY,
    LIMBS,
    along,
    bark,
    foot,
    length,
    pieces,
    radius,
    solve,
    tree,
)


def inside(points, name, start, end):
    """Is a point inside the cone of a limb between two places of its axis?"""
    limb = LIMBS[name]
    s = (points - foot(limb)) @ along(limb)
    return (s >= start) & (s <= end) & (
        np.linalg.norm(points - foot(limb) - s[:, None] * along(limb), axis=1) <= radius(limb, s)
    )  # fmt: skip


@pytest.mark.parametrize("number", range(12))
def test_wood_is_that_of_the_solids_with_shared_wood_counted_once(number):
    """200,000 points round each axis: within 1.5 % of the frusta, roots inside parents included."""
    rng, kg, n = np.random.default_rng(number), 0.0, 200_000
    parts = pieces()[number]
    for k, (name, start, end) in enumerate(parts):
        limb, low = LIMBS[name], start if name == CUTS[number].limb else 0.0
        wide = radius(limb, low)
        u = np.cross(along(limb), [0.6, 0.64, 0.48])
        u /= np.linalg.norm(u)
        v = np.cross(along(limb), u)
        s, out, turn = rng.uniform(low, end, n), wide * np.sqrt(rng.random(n)), 2 * np.pi * rng.random(n)
        side = np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * v
        points = foot(limb) + s[:, None] * along(limb) + out[:, None] * side
        own = inside(points, name, low, end)
        for other in parts[:k]:
            own &= ~inside(points, *other)
        kg += own.mean() * np.pi * wide**2 * (end - low) * DENSITY
    assert solve()[number].wood == pytest.approx(kg, rel=0.015)


def test_figures_on_paper():
    """Cut 1: tip at (5, 0, 7), wire at x = 7, z = 9: 2.83 m less the bark; the lane begins at x = 3."""
    first, second, third = solve()[:3]
    assert first.wire == pytest.approx(np.sqrt(8.0) - 0.015, abs=0.01)
    assert first.lane == 0.0
    assert first.length == pytest.approx(np.sqrt(29.0) - bark(LIMBS["east limb"]) - 2.5)
    assert second.length == pytest.approx(2.5)
    assert third.house == pytest.approx(1.5, abs=0.02)  # tip at x = -4.5, house from x = -6
    assert third.wood == pytest.approx(45.1, rel=0.01)  # pi / 3 x 4.50 m x (8.7^2 + 8.7 x 2 + 2^2) cm^2
    assert [s.drop for s in solve()] == pytest.approx([0, 0, 0, 0, 0, 0, 4.0, 0, 2.27, 0, 0, 0], abs=0.01)


def _frustum(a, b, long):
    return np.pi / 3 * long * (a * a + a * b + b * b)


def test_the_pieces_are_the_whole_tree():
    """Nothing is cut twice, and only the stump of 1 m stays."""
    whole = sum(_frustum(radius(a, bark(a)), a.thin, length(a) - bark(a)) for a in LIMBS.values())
    stump = _frustum(0.30, 0.29, 1.0)
    assert sum(s.wood for s in solve()) == pytest.approx((whole - stump) * DENSITY, rel=1e-9)


def test_the_tree_as_written_has_this_wood():
    """Segments of the tree.json, less roots inside parents and the stump, are the same volume within 1 %."""
    made = tree()
    xyz = {n["id"]: np.array(n["xyz"]) for n in made["nodes"]}
    long = [np.linalg.norm(xyz[s["child"]] - xyz[s["parent"]]) for s in made["segments"]]
    volume = sum(np.pi * s["radius"] ** 2 * m for s, m in zip(made["segments"], long, strict=True))
    roots = sum(_frustum(a.thick, radius(a, bark(a)), bark(a)) for a in LIMBS.values())
    wood = sum(s.wood for s in solve()) / DENSITY
    assert volume - roots - _frustum(0.30, 0.29, 1.0) == pytest.approx(wood, rel=0.01)
