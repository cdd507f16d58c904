"""What is left out on the way in is left out exactly, and said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from written_clouds import bush, write_las, write_ply, write_text

from treescan.cloud.inspect import inspect_cloud
from treescan.cloud.intake.duplicates import repeated
from treescan.cloud.intake.local_points import LocalPoints
from treescan.cloud.intake.rounding import rounding_step
from treescan.cloud.intake.strays import find_strays
from treescan.cloud.read import read_cloud
from treescan.cloud.thin import VoxelSums
from treescan.outputs.text.say import say_all
from treescan.reason import has


def noted(cloud, code: str, **values) -> bool:
    """Whether a note with this code and (at least) these values was made."""
    return any(n.code == code and all(n[name] == pytest.approx(v) for name, v in values.items()) for n in cloud.notes)


def later_copies(xyz: np.ndarray) -> np.ndarray:
    """The same question answered by sorting."""
    _, first = np.unique(xyz, axis=0, return_index=True)
    out = np.ones(len(xyz), bool)
    out[first] = False
    return out


@settings(max_examples=40, deadline=None)
@given(n=st.integers(0, 400), levels=st.integers(1, 12), seed=st.integers(0, 1000))
def test_repeats_are_those_a_sort_finds(n, levels, seed):
    """The first of several points at one place stays, all later ones are marked."""
    xyz = np.random.default_rng(seed).integers(-levels, levels, (n, 3)) * 0.37

    assert (later_copies(xyz) == repeated(xyz)).all()


def test_repeats_among_many_points():
    """A few copies among 300 000 points are all found and nothing else."""
    rng = np.random.default_rng(5)
    xyz = rng.normal(size=(300_000, 3))
    xyz[rng.choice(np.arange(150_000, 300_000), 777, replace=False)] = xyz[rng.choice(150_000, 777, replace=False)]

    found = repeated(xyz)

    assert found.sum() == 777
    assert (later_copies(xyz) == found).all()


def test_minus_zero_is_zero():
    """The two zeros of floating point are one place."""
    assert repeated(np.array([[0.0, 1.0, 2.0], [-0.0, 1.0, 2.0]])).tolist() == [False, True]


def test_copies_in_a_file_are_dropped_and_counted(tmp_path):
    """Doubling 500 points of a file changes nothing but a note."""
    xyz = bush(2000)

    cloud = read_cloud(write_las(tmp_path / "a.las", np.concatenate([xyz, xyz[:500]])))

    assert np.allclose(xyz, cloud.xyz, atol=1e-9)
    assert noted(cloud, "duplicates_left_out", n=500, share=0.2)
    assert "500 points lie exactly where another does (20 % of the file) and were left out." in say_all(cloud.notes)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e300])
def test_impossible_coordinates_are_dropped_and_counted(tmp_path, value):
    """NaN, infinity and places off the earth leave, the other points stay."""
    xyz = bush(500)
    bad = xyz.copy()
    bad[[3, 77, 400], [0, 1, 2]] = value

    cloud = read_cloud(write_ply(tmp_path / "a.ply", bad))

    assert np.allclose(np.delete(xyz, [3, 77, 400], axis=0), cloud.xyz, atol=1e-9)
    assert noted(cloud, "impossible_coordinates_left_out", n=3)


def test_nan_in_text_is_counted_not_taken_for_words(tmp_path):
    """A line "nan 1 2" is a point without coordinates."""
    path = write_text(tmp_path / "a.xyz", bush(300))
    path.write_text(path.read_text() + "nan 1.0 2.0\n")

    assert noted(read_cloud(path), "impossible_coordinates_left_out", n=1)


@pytest.mark.parametrize("point_format", [1, 3, 6, 7])
def test_withheld_and_noise_leave(tmp_path, point_format):
    """Points flagged as withheld, and classes 7 and (where the format has it) 18, are not read."""
    xyz = bush(400)
    code = np.ones(400, np.uint8)
    code[:10] = 7
    if point_format >= 6:
        code[10:15] = 18
    withheld = np.zeros(400, bool)
    withheld[[0, 100, 200]] = True

    cloud = read_cloud(write_las(tmp_path / "a.laz", xyz, point_format=point_format, version="1.4", classification=code, withheld=withheld))

    stay = ~withheld & (code == 1)
    assert np.allclose(xyz[stay], cloud.xyz, atol=1e-9)
    assert noted(cloud, "marked_points_left_out", n=3, why="withheld")
    assert noted(cloud, "marked_points_left_out", n=np.sum((code != 1) & ~withheld), why="classed_as_noise")
    assert "3 points flagged as withheld were left out." in say_all(cloud.notes)


def test_a_file_of_noise_alone_is_refused(tmp_path):
    """Nothing left is bad input, and the reason is given."""
    path = write_las(tmp_path / "a.las", bush(50), classification=np.full(50, 7, np.uint8))

    with pytest.raises(ValueError, match="50 classed as noise"):
        read_cloud(path)


@pytest.mark.parametrize("thin", [None, 0.1])
def test_far_points_are_stray_and_near_ones_are_not(tmp_path, thin):
    """Three points 20 m above the crown and one a thousand kilometres away go; a twig half a metre off stays."""
    xyz = bush(3000)
    twig = xyz.max(axis=0) + np.array([0.5, 0.0, 0.0])
    far = np.array([[0.0, 0.0, 35.0], [0.02, 0.0, 35.0], [0.0, 0.03, 35.01], [900_000.0, 5.0, 5.0]])

    cloud = read_cloud(write_ply(tmp_path / "a.ply", np.concatenate([xyz, [twig], far])), thin=thin)

    assert noted(cloud, "strays_left_out", n=4)
    assert np.abs(cloud.xyz).max() < 20.0
    assert np.linalg.norm(cloud.xyz - twig, axis=1).min() < (1e-9 if thin is None else 0.1)


def test_a_stray_far_away_moves_nothing(tmp_path):
    """The frame is that of the cloud without its stray, wherever the stray stands in the file."""
    xyz = bush(3000) + np.array([500_000.0, 5_200_000.0, 300.0])
    far = np.array([[0.0, 0.0, 0.0]])

    first = read_cloud(write_ply(tmp_path / "a.ply", np.concatenate([far, xyz])))
    last = read_cloud(write_ply(tmp_path / "b.ply", np.concatenate([xyz, far])))

    assert (first.frame.origin == last.frame.origin).all()
    assert np.allclose(first.xyz, last.xyz, atol=1e-8)
    assert first.xyz.min() >= -0.1


def test_a_sparse_cloud_is_not_all_stray():
    """One point every 3 m is a thin cloud, not a heap of strays; a wire seen every 2 m stays as well."""
    x, y = np.meshgrid(np.arange(0, 200, 3.0), np.arange(0, 200, 3.0))
    ground = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    wire = np.column_stack([np.arange(0, 200, 2.0), np.full(100, 90.0), np.full(100, 18.0)])
    cells = VoxelSums(1.0)
    cells.add(np.concatenate([ground, wire]))

    assert find_strays(cells, 5, 5.0).count == 0


@pytest.mark.parametrize(("step", "found"), [(0.01, 0.01), (0.03, 0.03), (0.005, 0.005), (0.0, 0.0)])
def test_rounding_grids_are_recognised(step, found):
    """Coordinates on multiples of 1 cm, 3 cm or 5 mm, from any start, are told from free ones."""
    rng = np.random.default_rng(4)
    xyz = rng.normal(0, 2, (5000, 3))
    if step:
        xyz = np.round(xyz / step) * step + 0.00123

    assert rounding_step(xyz) == pytest.approx([found] * 3, abs=1e-9)


def test_rounding_is_reported_in_metres(tmp_path):
    """A cloud rounded to 0.1 ft is reported as rounded to 30.48 mm."""
    xyz = np.round(bush(3000) / 0.3048, 1)

    path = write_las(tmp_path / "a.las", xyz)

    assert inspect_cloud(path, unit="ft").rounding == pytest.approx((0.03048,) * 3, abs=1e-6)
    (grid,) = [n for n in read_cloud(path, unit="ft").notes if n.code == "coordinates_on_a_grid"]
    assert grid["along"][0].code == "step_along_axis"
    assert grid["along"][0]["step"] == pytest.approx(0.03048)


def test_single_precision_at_map_coordinates_is_a_doubt(tmp_path):
    """32-bit floats at 5 200 000 hold half a metre: said, since it cannot be mended."""
    xyz = bush(1000)

    near = read_cloud(write_ply(tmp_path / "near.ply", xyz, kind="float"))
    far = read_cloud(write_ply(tmp_path / "far.ply", xyz + np.array([500_000.0, 5_200_000.0, 0.0]), kind="float"))

    assert not has(near.notes, "single_precision")
    assert noted(far, "single_precision", step=0.5)


def test_a_tree_too_tall_is_a_doubt_and_nothing_is_converted(tmp_path):
    """A 300 m tree in a file without a unit stays 300 m, with the question whether it is feet."""
    xyz = bush(8000) * [10.0, 10.0, 25.0]

    cloud = read_cloud(write_las(tmp_path / "a.las", xyz))

    assert np.allclose(xyz, cloud.xyz, atol=1e-3)
    assert noted(cloud, "taller_than_any_tree", unit_stated=False)
    assert not has(read_cloud(write_las(tmp_path / "b.las", bush(8000))).notes, "taller_than_any_tree")


def test_points_gather_the_same_with_and_without_room():
    """Arrays that have to grow hold what arrays of the right size hold."""
    rng = np.random.default_rng(1)
    parts = [(rng.normal(size=(n, 3)), rng.random(n) < 0.7) for n in (10, 5000, 1, 7000, 300)]

    def gathered(room: int):
        points = LocalPoints(room)
        for xyz, stay in parts:
            points.space(len(xyz))[:] = xyz
            points.keep(stay, {"intensity": np.arange(len(xyz), dtype=np.uint16)})
        return points.finished()

    (a, ca), (b, cb) = gathered(0), gathered(13_000)
    expected = np.concatenate([x[s] for x, s in parts])

    assert (expected == a).all()
    assert (expected == b).all()
    assert (ca["intensity"] == cb["intensity"]).all()
    assert len(ca["intensity"]) == len(a)
