"""The simulated scanner: every error it makes is the one asked for, and nothing is seen through a wall."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from made_up import meshes, scanner, stations
from made_up.grow import grow
from made_up.grown_tree import GrownTree
from made_up.instruments import PERFECT, TRIPOD, Instrument
from made_up.meshes import Part
from made_up.scan import Scan, one_per_cell
from made_up.scanner import scan
from made_up.scenes import Ground, make_scene, places, scan_scene, simple_scan
from made_up.targets import Targets

from treescan.geometry import point_segment


@lru_cache
def small_tree() -> GrownTree:
    return grow(11, height=8.0, dbh=0.25, thinnest=0.008)


@lru_cache
def small_scan(range_sd: float, registration: float, exit_: float = 0.0, divergence: float = 0.0, seed: int = 1) -> Scan:
    scene = make_scene(small_tree(), half_width=12.0)
    how = Instrument(range_sd=range_sd, ppm=0.0, exit=exit_, divergence=divergence, registration=registration)
    return scan_scene(scene, places(scene, positions=3, seed=2), 120_000, how, seed=seed)


def off_the_wood(got: Scan, tree: GrownTree, pick: np.ndarray) -> np.ndarray:
    """Signed distance of wood points from the surface of the limb piece they hit, its neighbours in the limb tried too. [m]"""
    node, xyz = got.node[pick], got.xyz[pick]
    best = np.full(len(node), np.inf)
    child_of = np.zeros(len(tree), int)
    child_of[tree.parent[1:]] = np.arange(1, len(tree))
    for near in (node, tree.parent[node], child_of[node]):
        piece = np.maximum(near, 1)
        p = tree.parent[piece]
        d, share = point_segment(xyz, tree.xyz[p], tree.xyz[piece])
        foot = np.where(tree.axis[p] == tree.axis[piece], tree.radius[p], tree.segment_radius[piece])
        off = d - (foot * (1 - share) + tree.radius[piece] * share)
        best = np.where(np.abs(off) < np.abs(best), off, best)
    return best


def plate(y: float, half: float = 5.0, low: float = -5.0, label: str = "person") -> Part:
    """A vertical plate (labelled as something that is scanned in full) facing the scanner at distance y."""
    corners = np.array([[-half, y, low], [half, y, low], [half, y, 5.0], [-half, y, 5.0]], np.float32)
    return Part(corners, np.array([[0, 1, 2], [0, 2, 3]], np.uint32), meshes.PARTS.index(label), np.full(2, -1, np.int32))


def ahead(step: float = 0.002, half: float = 0.3) -> stations.Station:
    """A tripod at the origin looking along +y."""
    return stations.Station("tripod", np.zeros((1, 3)), (np.pi / 2 - half, np.pi / 2 + half, -half, half), step)


def test_without_noise_points_lie_on_the_true_wood() -> None:
    """A perfect scanner's points lie on the true limbs: 99.5 % within 1.5 mm (what the facets allow), the rest at forks and broken ends."""
    got = small_scan(0.0, 0.0)
    off = off_the_wood(got, small_tree(), got.of("wood") & (got.node > 0) & (got.xyz[:, 2] > 0.0))

    assert len(off) > 50_000
    assert np.mean(np.abs(off) < 0.0015) > 0.995


def test_noisy_points_lie_within_the_noise_of_the_true_wood() -> None:
    """With 3 mm noise 99 % of the plain returns from limbs over 4 cm lie within 3.5 sd (and facets) of the true surface."""
    got = small_scan(0.003, 0.0, 0.005, 0.0003)
    thick = got.of("wood") & (got.node > 0) & (small_tree().segment_radius[np.maximum(got.node, 0)] > 0.02) & (got.spread == 0)
    off = off_the_wood(got, small_tree(), thick)

    assert np.mean(np.abs(off) < 3.5 * 0.003 + 0.001) > 0.99
    assert abs(np.median(off)) < 0.0007


def test_range_noise_is_the_one_asked() -> None:
    """The ranges to a plate scatter with the stated sd, the part that grows with range included."""
    for sd, ppm in ((0.002, 0.0), (0.004, 300.0)):
        got = scan([plate(20.0)], [ahead()], replace(PERFECT, range_sd=sd, ppm=ppm), seed=4)
        true = got.xyz * (20.0 / got.xyz[:, 1])[:, None]
        error = np.linalg.norm(got.xyz, axis=1) - np.linalg.norm(true, axis=1)
        asked = np.sqrt(sd**2 + (ppm * 1e-6 * np.linalg.norm(true, axis=1)) ** 2)

        assert len(error) > 50_000
        assert abs(np.std(error / asked) - 1) < 0.02 and abs(np.mean(error)) < 4 * sd / np.sqrt(len(error))


def test_nothing_is_seen_behind_a_wall() -> None:
    """What stands in a wall's shadow gives no point, what stands beside the wall does."""
    got = scan([plate(10.0, half=1.0), plate(20.0, half=5.0, label="neighbour")], [ahead()], PERFECT, seed=0)
    far = got.xyz[got.of("neighbour")]

    assert len(far) > 1000
    assert np.abs(far[:, 0]).min() > 2.0 - 0.05
    front = scan([plate(10.0, half=9.0), plate(20.0, label="neighbour")], [ahead()], TRIPOD, seed=0)
    assert not front.of("neighbour").any()


def test_a_tree_hides_its_own_far_side() -> None:
    """From one position no point lies on the far side of the stem."""
    scene = make_scene(small_tree(), half_width=12.0)
    (where,) = places(scene, positions=1)
    got = scan_scene(scene, [where], 60_000, replace(PERFECT, exit=0.0), seed=0)
    tree = small_tree()
    stem = got.of("wood") & (got.xyz[:, 2] < 1.5) & (tree.axis[np.maximum(got.node, 0)] <= 1)
    to_scanner = where.path[0, :2] / np.linalg.norm(where.path[0, :2])
    facing = (got.xyz[stem, :2] - tree.xyz[np.maximum(got.node[stem], 0), :2]) @ to_scanner

    assert stem.sum() > 500
    assert facing.min() > -0.01


def test_mixed_pixels_exist_only_at_edges() -> None:
    """Points between two surfaces appear where the beam straddles the edge, within a footprint of it, and nowhere else."""
    front, back = plate(10.0, half=0.5, label="neighbour"), plate(10.1)
    how = Instrument(range_sd=0.0, ppm=0.0, exit=0.006, divergence=0.0004, registration=0.0, resolve=0.2)
    got = scan([front, back], [ahead(0.0005, 0.12)], how, seed=0)
    between = (got.xyz[:, 1] > 10.003) & (got.xyz[:, 1] < 10.097)
    footprint = (0.006 + 0.0004 * 10) / 2

    assert between.sum() > 100
    assert np.all(np.abs(np.abs(got.xyz[between, 0]) - 0.5) < footprint + 0.006)
    assert np.all(got.spread[between] > 0.05) and np.all(got.spread[~between] < 0.11)
    none = scan([front, back], [ahead(0.0005, 0.12)], replace(how, exit=0.0, divergence=0.0), seed=0)
    assert not np.any((none.xyz[:, 1] > 10.003) & (none.xyz[:, 1] < 10.097))


def test_surfaces_far_apart_do_not_mix() -> None:
    """Surfaces further apart than the scanner resolves give the one or the other, or both where it counts several returns."""
    front, back = plate(10.0, half=0.5, label="neighbour"), plate(12.0)
    how = Instrument(range_sd=0.0, ppm=0.0, exit=0.006, divergence=0.0004, registration=0.0, resolve=0.2)
    got = scan([front, back], [ahead(0.001, 0.12)], how, seed=0)
    many = scan([front, back], [ahead(0.001, 0.12)], replace(how, returns=3), seed=0)

    for g in (got, many):
        assert np.all((np.abs(g.xyz[:, 1] - 10) < 1e-3) | (np.abs(g.xyz[:, 1] - 12) < 1e-3))
    assert got.return_number.max() == 1 and many.return_number.max() == 2
    assert len(many) > len(got)


def test_a_wide_beam_makes_thin_wires_look_thick() -> None:
    """A 6 mm wire looks thicker by about the footprint: the published cause of too thick twigs."""
    line = meshes.wire_line(np.array([0.0, 12.0, -2.0]), np.array([0.001, 12.0, 2.0]), 0.0)
    parts = [meshes.tube_part(line, 0.003, "wire", 8)]
    sharp = scan(parts, [ahead(0.0001, 0.01)], PERFECT, seed=0)
    wide = scan(parts, [ahead(0.0001, 0.01)], replace(TRIPOD, range_sd=0.0, ppm=0.0, registration=0.0), seed=0)

    assert np.ptp(sharp.xyz[:, 0]) < 0.0075
    assert 0.009 < np.ptp(wide.xyz[:, 0]) < 0.006 + 0.005 + 0.0003 * 12 + 0.002


def test_positions_are_out_of_place_by_the_registration_error() -> None:
    """Position by position the points are shifted rigidly, by the sd asked; points of one position stay true to each other."""
    shifts = []
    for seed in range(25):
        got = scan([plate(12.0)], [ahead(0.01), ahead(0.01)], replace(PERFECT, registration=0.005), seed=seed)
        for number in (1, 2):
            own = got.xyz[got.station == number]
            shifts.append(float(np.mean(own[:, 1] - 12.0)))
            plane = np.column_stack([own[:, [0, 2]], np.ones(len(own))])
            assert np.abs(own[:, 1] - plane @ np.linalg.lstsq(plane, own[:, 1], rcond=None)[0]).max() < 1e-4

    assert 0.0035 < np.std(shifts) < 0.0068


def test_same_seed_same_points() -> None:
    """A scan is drawn from its seed alone."""
    scene = make_scene(small_tree(), half_width=12.0)
    where = places(scene, positions=2)
    one, same, other = (scan_scene(scene, where, 30_000, TRIPOD, seed=s, wind=0.01) for s in (3, 3, 4))

    assert np.array_equal(one.xyz, same.xyz) and np.array_equal(one.part, same.part) and np.array_equal(one.intensity, same.intensity)
    assert len(other) != len(one) or not np.array_equal(one.xyz, other.xyz)


def test_grazing_beams_drop_out() -> None:
    """A plate seen at a grazing angle returns fewer beams than one seen squarely."""
    turned = plate(10.0)
    c, s = np.cos(np.radians(87.0)), np.sin(np.radians(87.0))
    about = turned.corners - [0, 10, 0]
    turned = replace(
        turned, corners=(about @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) + [0, 10, 0]).astype(np.float32), label=meshes.PARTS.index("neighbour")
    )
    where = ahead(0.001, 0.02)
    beams = int(np.prod(where.shape))
    square = scan([plate(10.0)], [where], TRIPOD, seed=0)
    targets = Targets([turned])
    hit = np.isfinite(targets.hit(*where.beams(0, where.shape[0])[:2])[0]).sum()

    assert len(square) > 0.95 * beams
    assert len(scan([turned], [where], TRIPOD, seed=0, targets=targets)) < 0.8 * hit


def test_wind_moves_twigs_not_the_stem() -> None:
    """Sway by 3 cm at the twigs leaves the stem within 2 mm."""
    still = small_scan(0.0, 0.0)
    scene = make_scene(small_tree(), half_width=12.0)
    blown = scan_scene(scene, places(scene, positions=3, seed=2), 120_000, replace(PERFECT), seed=1, wind=0.03)
    assert len(still) == len(blown)
    move = np.linalg.norm(blown.xyz - still.xyz, axis=1)
    tree = small_tree()
    thick = tree.segment_radius[np.maximum(still.node, 0)]
    wood = still.of("wood") & (still.node > 0)

    assert move[wood & (thick > 0.09)].max() < 0.002
    assert 0.008 < np.sqrt(np.mean(move[wood & (thick < 0.006)] ** 2)) < 0.06
    assert move[still.of("ground")].max() == 0


def test_walked_and_flown_scans_are_as_noisy_as_such_scans_are() -> None:
    """A walked scan is off the true wood by about 2 to 3 cm, a drone sees the crown from above and little of the stem."""
    _, _, walked = simple_scan(5, positions=1, points=60_000, height=8.0, dbh=0.3, mode="walk")
    _, _, flown = simple_scan(5, positions=2, points=60_000, height=8.0, dbh=0.3, mode="drone")
    tree = grow(5, height=8.0, dbh=0.3)
    stem = walked.of("wood") & (walked.node > 0) & (tree.segment_radius[np.maximum(walked.node, 0)] > 0.08)
    off = off_the_wood(walked, tree, stem)

    assert 0.015 < np.sqrt(np.mean(off**2)) < 0.035

    def low_share(got: Scan) -> float:
        wood = got.of("wood")
        return float(np.mean(got.xyz[wood, 2] < 1.5))

    assert low_share(flown) < 0.3 * low_share(walked)


def test_ground_points_lie_on_the_slope() -> None:
    """Ground points follow the slope asked, raised by short grass."""
    ground = Ground(slope=0.35, uphill=1.0, mounds=0.0)
    scene = make_scene(small_tree(), ground=ground, half_width=12.0)
    got = scan_scene(scene, places(scene, positions=2), 20_000, PERFECT, seed=0)
    up = got.xyz[got.of("ground"), 2] - ground(got.xyz[got.of("ground"), :2])

    assert up.min() > -0.002 and 0.008 < up.mean() < 0.016


def test_thinning_keeps_real_points_one_per_cell() -> None:
    """Thinned points are points of the scan, no two in one cube."""
    got = small_scan(0.003, 0.0, 0.005, 0.0003)
    kept = one_per_cell(got, 0.05)
    cells = np.floor((got.xyz[kept] - got.xyz.min(axis=0)) / 0.05)

    assert len(np.unique(cells, axis=0)) == len(kept) == len(np.unique(np.floor((got.xyz - got.xyz.min(axis=0)) / 0.05), axis=0))


def test_number_of_points_is_about_the_one_asked() -> None:
    """The angular step is chosen so that the tree gives about as many points as asked."""
    for points in (30_000, 100_000):
        _, _, got = simple_scan(6, positions=2, points=points, height=8.0, dbh=0.3)
        assert 0.6 < np.count_nonzero(~got.of("ground")) / points < 1.8


def test_scenes_label_everything_in_them() -> None:
    """Neighbour, wall, wire, person, leaves and ivy all give points of their own label."""
    tree = small_tree()
    from made_up.leaves import BROAD

    wire = meshes.wire_line(np.array([-8.0, 3.0, 5.0]), np.array([8.0, 3.5, 5.0]), 0.3)
    wall = {"from": (-5.0, -5.0), "to": (5.0, -5.5), "height": 1.5}
    scene = make_scene(
        tree,
        leafing=BROAD,
        neighbours=[(grow(3, height=6.0, dbh=0.2, thinnest=0.01), (4.0, 1.0))],
        neighbour_leafing=BROAD,
        walls=[wall],
        wires=[wire],
        person=(2.0, -3.0),
        ivy_up_to=2.0,
        half_width=12.0,
    )
    got = scan_scene(scene, places(scene, positions=3), 100_000, TRIPOD, seed=0)

    for label in ("wood", "leaf", "ground", "neighbour", "neighbour leaf", "wall", "wire", "person", "ivy"):
        assert got.of(label).sum() > 20, label
    assert set(np.unique(got.node[got.of("ground", "wall", "wire", "person")])) == {-1}
    assert got.node[got.of("wood", "leaf", "ivy")].min() >= 0


def test_the_scanner_module_shares_one_list_of_reflectivities() -> None:
    """Every part has a reflectivity and a colour."""
    from made_up.pictures import COLOURS

    assert len(scanner.REFLECTIVITY) == len(meshes.PARTS) == len(COLOURS)
