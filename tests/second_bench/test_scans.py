"""The instruments of the second bench measure what stands there, as well as they say."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import laspy
import numpy as np
import open3d as o3d
import pytest
import second_bench
from scipy.spatial import cKDTree
from second_bench import instruments
from second_bench.beams import Caster, merged_returns
from second_bench.cloud_file import FOOT, delivered, one_a_voxel, write
from second_bench.instruments import Target
from second_bench.making import make
from second_bench.recipes import Recipe, bench
from second_bench.scene import PLACES, make_scene
from second_bench.street import GROUND, WIRE, WOOD


@pytest.fixture(scope="module")
def scene():
    return make_scene(np.random.default_rng(2), "pollarded", "furrowed", "bare wires", stubs=1)


@pytest.fixture(scope="module")
def caster(scene):
    return Caster(scene.bodies)


@pytest.fixture(scope="module")
def scan(scene, caster):
    target = Target(scene.spread, scene.truth.top, scene.slope)
    return instruments.tripod(
        caster, target, np.random.default_rng(1), 2, step_deg=0.15, noise=(0.002, 0.0), registration=0.0
    )


def surface_distance(scene, xyz):
    mesh = o3d.t.geometry.RaycastingScene(nthreads=1)
    for b in scene.bodies:
        mesh.add_triangles(b.corners.astype(np.float32), b.triangles.astype(np.uint32))
    return mesh.compute_distance(xyz.astype(np.float32), nthreads=1).numpy()


def test_points_lie_on_surfaces_within_the_stated_noise(scene, scan):
    """Places hit lie on a surface, mixed ones at edges excepted; measured ones stray along the beam by the
    noise.
    """
    off = surface_distance(scene, scan.true)
    error = np.linalg.norm(scan.xyz - scan.true, axis=1)

    assert np.mean(off < 1e-3) > 0.85
    assert np.mean(off < 0.15) > 0.99
    assert np.sqrt(np.mean(error**2)) == pytest.approx(0.002, rel=0.03)


def test_owners_are_the_limbs_that_were_hit(scene, scan):
    """A point of wood lies on the bark of the limb it is said to be of; thinner shoots mix with others."""
    for k in np.unique(scan.owner[scan.kind == WOOD]):
        if scene.limbs[k].radius[0] < 0.025:
            continue
        mine = scan.true[(scan.kind == WOOD) & (scan.owner == k)]
        gap, at = cKDTree(scene.limbs[k].xyz).query(mine)
        assert np.mean(gap < scene.rings[k][at].max(axis=1) + 0.01) > 0.95


def test_wires_are_where_the_truth_says(scene, scan):
    """Wires are hit, each point lies on its own wire, and they hang clear of the ground."""
    assert len(scene.wires) == 3
    for k, w in enumerate(scene.wires):
        mine = scan.true[(scan.kind == WIRE) & (scan.owner == k)]
        dense = np.stack(
            [
                np.interp(np.linspace(0, 1, 8000), np.linspace(0, 1, len(w.points)), w.points[:, j])
                for j in range(3)
            ],
            axis=1,
        )
        gap, _ = cKDTree(dense).query(mine)
        assert len(mine) > 20
        assert np.mean(gap < w.radius + 0.005) > 0.8
        assert w.points[:, 2].min() > 4.0


@pytest.mark.parametrize("place", PLACES)
def test_only_places_with_wires_have_wires(place):
    """Wires hang in wire scenes and in the street, nowhere else."""
    built = make_scene(np.random.default_rng(4), "pollarded", "smooth", place)
    kinds = {b.kind for b in built.bodies}

    assert (WIRE in kinds) == bool(built.wires) == ("wire" in place or place == "street")
    assert {WOOD, GROUND} <= kinds


def test_a_beam_over_an_edge_brings_back_a_mixed_range():
    """Half a footprint at 10.0 m and half at 10.2 m: one return between; at 10 and 12 m: two returns."""
    near = np.array([[10.0, 10.0, 10.2, 10.2]])
    far = np.array([[10.0, 10.0, 12.0, 12.0]])
    ids = np.array([[1, 1, 2, 2]])

    assert merged_returns(near, ids, 0.3, 0.25, 3).distance == pytest.approx([10.1])
    assert merged_returns(far, ids, 0.3, 0.25, 3).distance == pytest.approx([10.0, 12.0])
    assert merged_returns(far, ids, 0.3, 0.25, 1).distance == pytest.approx([10.0])


@pytest.mark.parametrize("name", ["walked", "vehicle", "drone", "airborne"])
def test_moving_instruments_see_the_tree(name, scene, caster):
    """Their points stray by centimetres at most from where they hit."""
    target = Target(scene.spread, scene.truth.top, scene.slope)
    few = {"walked": {"beams": 60_000}}.get(name, {})
    got = getattr(instruments, name)(caster, target, np.random.default_rng(3), **few)
    error = np.linalg.norm(got.xyz - got.true, axis=1)

    assert (got.kind == WOOD).sum() > 20
    assert 0.003 < np.sqrt(np.mean(error**2)) < 0.08


def test_wind_moves_the_top_and_not_the_foot():
    """Sway grows with height squared."""
    shift = instruments.Wind(0.05).shift(
        np.array([[0, 0, 0.0], [0, 0, 5.0], [0, 0, 10.0]]), np.array([0.9, 0.9, 0.9]), 10.0, 0.0
    )
    size = np.linalg.norm(shift, axis=1)

    assert size[0] == 0
    assert size[2] == pytest.approx(4 * size[1], rel=1e-6)


def test_a_recipe_always_gives_the_same_scan():
    """Seeds decide everything."""
    recipe = Recipe("again", 5, form="pollarded", instrument="airborne", place="lamp")
    a, b = make(recipe), make(recipe)

    assert np.array_equal(a.scan.xyz, b.scan.xyz)
    assert not np.array_equal(a.scan.xyz[:50], make(replace(recipe, seed=6)).scan.xyz[:50])


def test_half_of_the_bench_is_fixed_and_half_is_drawn():
    """Two seeds share the first half only; every form and instrument is in it."""
    one, two = bench(60, 1), bench(60, 2)

    assert one[:30] == two[:30]
    assert all(a != b for a, b in zip(one[30:], two[30:], strict=True))
    assert {r.instrument for r in one[:30]} == {"tripod", "walked", "vehicle", "drone", "airborne"}
    assert len({r.form for r in one[:30]}) == 10
    assert any(r.feet for r in one) and any(r.cut_out for r in one) and any(r.thin == 0.03 for r in one)


def test_delivered_clouds_are_thinned_and_cut_out(scan):
    """One point a voxel; a cut-out tree has no ground."""
    cut = delivered(scan, np.random.default_rng(0), 20.0, thin=0.03, cut_out=True)
    cells = np.floor((cut.xyz - cut.xyz.min(axis=0)) / 0.03).astype(int)

    assert set(np.unique(cut.kind)) == {WOOD}
    assert len(np.unique(cells, axis=0)) > 0.7 * len(cells)
    assert len(one_a_voxel(np.array([[0, 0, 0], [0.01, 0, 0], [0.5, 0, 0]]), 0.1)) == 2


@pytest.mark.parametrize("feet", [False, True])
def test_files_hold_the_points_in_their_unit(scan, tmp_path, feet):
    """Written coordinates times the unit, less the origin, are the scan to half a millimetre."""
    part = scan.taken(slice(0, 500))
    origin = np.array([300000.0, 60000.0, 50.0])
    write(part, tmp_path / "a.laz", origin, feet, sources=True)
    las = laspy.read(tmp_path / "a.laz")
    back = las.xyz * (FOOT if feet else 1.0) - origin

    assert np.abs(back - part.xyz).max() < 0.0004
    assert np.array_equal(las.point_source_id, part.source)


def test_the_generator_shares_no_code_with_what_it_judges():
    """No module of the second bench imports treescan, made_up or accuracy."""
    for path in Path(second_bench.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = (
                [a.name for a in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            assert not {n.split(".")[0] for n in names} & {"treescan", "made_up", "accuracy"}, path
