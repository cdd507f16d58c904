"""The sample scans: what lies in sample_clouds/ is what its truth says it is."""

from __future__ import annotations

import json
from pathlib import Path

import laspy
import numpy as np
import pytest
from made_up.samples import SAMPLES
from made_up.truth import traced_truth

from treescan.cloud.read import read_cloud
from treescan.geometry import point_segment
from treescan.wood.files.read_tree import read_tree

FOLDER = Path(__file__).parents[2] / "sample_clouds"
NAMES = list(SAMPLES)


@pytest.mark.parametrize("name", NAMES)
def test_every_point_has_its_label(name: str) -> None:
    """Labels are in step with the points of the LAZ, and every part named in the truth is there."""
    labels = np.load(FOLDER / f"{name}.labels.npz")
    truth = json.loads((FOLDER / f"{name}.truth.json").read_text())["truth"]
    with laspy.open(FOLDER / f"{name}.laz") as reader:
        count = reader.header.point_count

    assert len(labels["part"]) == len(labels["node"]) == count
    assert {str(labels["parts"][k]): int(c) for k, c in zip(*np.unique(labels["part"], return_counts=True), strict=True)} == truth["points"]


@pytest.mark.parametrize("name", ["quillmoor_green_qg07", "bracken_hythe_conifer", "marl_steps_slope"])
def test_stem_and_limb_points_lie_on_the_true_wood(name: str) -> None:
    """In map metres, 97 % of the points on wood over 12 cm lie within 2 cm of the true, round limbs (noise, registration, furrows and ellipses)."""
    labels = np.load(FOLDER / f"{name}.labels.npz")
    tree = read_tree(FOLDER / f"{name}.truth.json")
    cloud = read_cloud(FOLDER / f"{name}.laz")
    las = laspy.read(FOLDER / f"{name}.laz")
    own = np.column_stack([las.x, las.y, las.z]) * cloud.frame.unit_m - tree.frame.origin
    s = tree.graph.segments
    node = labels["node"]
    pick = np.nonzero((node > 0) & (tree.graph.segment_radius[np.maximum(node, 0)] > 0.06) & (own[:, 2] > 0.6))[0]
    assert len(pick) > 5000
    pick = pick[:: max(1, len(pick) // 20_000)]
    best = np.full(len(pick), np.inf)
    for near in (-1, 0, 1):
        row = np.clip(node[pick] - 1 + near, 0, len(s.start) - 1)
        d, share = point_segment(own[pick], s.start[row], s.end[row])
        best = np.minimum(best, np.abs(d - (s.r_start[row] * (1 - share) + s.r_end[row] * share)))

    assert np.mean(best < 0.02) > 0.97


@pytest.mark.parametrize("name", NAMES)
def test_truth_is_what_the_rules_grow(name: str) -> None:
    """Growing the scene again gives the truth file's tree, to 0.1 mm."""
    sample = SAMPLES[name]()
    traced = traced_truth(sample.scene, sample.place, name)
    stored = read_tree(FOLDER / f"{name}.truth.json")

    assert np.allclose(stored.graph.xyz, traced.graph.xyz, atol=1e-4) and np.allclose(stored.graph.radius, traced.graph.radius, atol=1e-4)
    assert stored.graph.unions.label == traced.graph.unions.label
    assert abs(stored.stem.dbh - traced.stem.dbh) < 1e-4 and abs(stored.stem.height - traced.stem.height) < 1e-4


def test_frames_are_a_map_one_in_feet_and_a_local_one() -> None:
    """The oak lies on a map in metres, the conifer in US survey feet, the others in a local frame; the reader brings all to the true place."""
    for name in NAMES:
        cloud, tree = read_cloud(FOLDER / f"{name}.laz", thin=0.1), read_tree(FOLDER / f"{name}.truth.json")
        top = cloud.frame.to_map(cloud.xyz).max(axis=0)[2]
        assert cloud.frame.crs == tree.frame.crs
        if name in ("bracken_hythe_conifer", "wick_end"):
            assert abs(top - (tree.frame.origin[2] + tree.stem.height)) < 0.5
    assert read_tree(FOLDER / "quillmoor_green_qg07.truth.json").frame.crs == "EPSG:25832"
    assert abs(read_cloud(FOLDER / "bracken_hythe_conifer.laz", thin=0.1).frame.unit_m - 1200 / 3937) < 1e-12


def test_the_oak_has_unions_worth_climbing_to() -> None:
    """Three leaders, and at 7 to 13 m at least five unions whose smaller limb is 10 cm and whose parent is 15 to 40 cm thick."""
    u = read_tree(FOLDER / "quillmoor_green_qg07.truth.json").graph.unions
    good = [k for k in range(len(u)) if 7 < u.height[k] < 13 and u.arm_diameter[u.laterals(k)].max() > 0.10 and 0.15 < u.parent_diameter[k] < 0.40]

    assert len(good) >= 5
    assert max(len(range(*u.arms(k).indices(10**6))) for k in range(len(u)) if u.parent_diameter[k] > 0.5) >= 3


def test_together_the_scans_are_small() -> None:
    """All four LAZ files hold less than 15 MB."""
    assert sum(p.stat().st_size for p in FOLDER.glob("*.laz")) < 15e6
