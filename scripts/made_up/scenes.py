"""Whole scenes: a tree, what stands round it, where the scanner stood, and the points that come of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from made_up import leaves, meshes, scanner, stations
from made_up.grow import grow
from made_up.grown_tree import GrownTree
from made_up.habits import Habit
from made_up.instruments import DRONE, TRIPOD, WALKED, Instrument
from made_up.meshes import Bark, Part
from made_up.scan import Scan, one_per_cell
from made_up.targets import Targets
from made_up.wind import blow
from treescan.cloud.point_cloud import PointCloud
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ground:
    """Ground heights: a plane through the origin with gentle mounds.

    Attributes
    ----------
    slope : float       Steepness. [rad]
    uphill : float      Azimuth of the uphill direction, clockwise from +y. [rad]
    mounds : float      Sd of the unevenness. [m]
    seed : int
    """

    slope: float = 0.0
    uphill: float = 0.0
    mounds: float = 0.05
    seed: int = 0

    def __call__(self, xy: Floats) -> Floats:
        """Height at plan points (..., 2). [m]"""
        xy = np.asarray(xy, float)
        plane = np.tan(self.slope) * (xy[..., 0] * np.sin(self.uphill) + xy[..., 1] * np.cos(self.uphill))
        return plane + self._mounds(xy) - self._mounds(np.zeros(2))

    def _mounds(self, xy: Floats) -> Floats:
        rng = np.random.default_rng([self.seed, 271])
        out = np.zeros(xy.shape[:-1])
        for length in (23.0, 11.0, 7.0, 4.0, 2.3):
            a, p = rng.uniform(0, 2 * np.pi, 2)
            out = out + np.sqrt(length / 23.0) * np.sin(2 * np.pi * (xy[..., 0] * np.cos(a) + xy[..., 1] * np.sin(a)) / length + p)
        return self.mounds * out


@dataclass(frozen=True)
class Scene:
    """Everything the scanner can see, and the truth behind it.

    Attributes
    ----------
    tree : GrownTree            The asked tree; its foot is at the ground at (0, 0).
    parts : list of Part        All solids.
    ground : Ground
    neighbours : list           Other trees.
    walls, wires : list         Plan segments with base and height; polylines (p, 3).
    """

    tree: GrownTree
    parts: list[Part]
    ground: Callable[[Floats], Floats]
    neighbours: list[GrownTree] = field(default_factory=list)
    walls: list[dict] = field(default_factory=list)
    wires: list[Floats] = field(default_factory=list)

    def truth(self, thinnest: float = 0.01) -> WoodGraph:
        """The exact wood graph, down to a diameter. [m]"""
        return self.tree.graph(thinnest)


def make_scene(
    tree: GrownTree,
    *,
    ground: Ground = Ground(),
    leafing: leaves.Leafing | None = None,
    bark: Bark = Bark(),
    neighbours: list[tuple[GrownTree, tuple[float, float]]] | None = None,
    neighbour_leafing: leaves.Leafing | None = None,
    walls: list[dict] | None = None,
    wires: list[Floats] | None = None,
    person: tuple[float, float] | None = None,
    ivy_up_to: float = 0.0,
    half_width: float = 30.0,
    seed: int = 0,
) -> Scene:
    """Put a tree and its surroundings on the ground.

    Parameters
    ----------
    neighbours : list of (GrownTree, (x, y))    Moved to their plan position.
    walls : list of dict        {"from": (x, y), "to": (x, y), "height": m}.
    wires : list of (p, 3)      Polylines; 12 mm thick.
    """
    parts = [*meshes.wood_part(tree, bark=bark, seed=seed), meshes.stump_part(tree), meshes.ground_part(ground, half_width)]
    if leafing is not None:
        parts.append(leaves.leaf_part(tree, leafing, seed=seed))
    if ivy_up_to:
        parts.append(leaves.ivy_part(tree, ivy_up_to, seed=seed))
    stand = []
    for other, (x, y) in neighbours or []:
        placed = other.moved(np.array([x, y, float(ground(np.array([x, y])))]))
        stand.append(placed)
        parts += [*meshes.wood_part(placed, "neighbour", seed=seed + 1), meshes.stump_part(placed, "neighbour")]
        if neighbour_leafing is not None:
            parts.append(leaves.leaf_part(placed, neighbour_leafing, seed=seed + 1, label="neighbour leaf"))
    built = []
    for w in walls or []:
        ends = np.array([w["from"], w["to"]])
        base = float(ground(ends).min())
        parts.append(meshes.wall_part(w["from"], w["to"], base, w["height"]))
        built.append({**w, "base": base})
    for line in wires or []:
        parts.append(meshes.tube_part(line, 0.006, "wire"))
    if person is not None:
        parts.append(meshes.person_part(np.array([*person, float(ground(np.array(person)))])))
    return Scene(tree, parts, ground, stand, built, list(wires or []))


def ring_of_tripods(
    scene: Scene, count: int, distance: float | None = None, *, start: float = 0.3, eye: float = 1.7, jitter: float = 0.15, seed: int = 0
) -> list[stations.Station]:
    """Tripods round the tree at roughly equal angles, on the ground, not inside anything."""
    rng = np.random.default_rng([seed, 31])
    low, high = _box(scene.tree)
    distance = distance or 0.75 * scene.tree.height
    out = []
    for k in range(count):
        a = start + 2 * np.pi * (k + rng.uniform(-jitter, jitter)) / max(count, 3 if count > 1 else 1)
        r = distance * rng.uniform(0.85, 1.15)
        xy = np.array([r * np.cos(a), r * np.sin(a)])
        for other in scene.neighbours:
            away = xy - other.xyz[0, :2]
            if np.hypot(*away) < 1.5:
                xy = other.xyz[0, :2] + 1.5 * away / max(np.hypot(*away), 0.1)
        out.append(stations.tripod(np.array([*xy, float(scene.ground(xy)) + eye]), low, high, number=k + 1))
    return out


def with_surroundings(where: list[stations.Station], step: float = 0.0025) -> list[stations.Station]:
    """The same tripods, each with a coarse scan of everything around it too."""
    return [*where, *(stations.surround(s.path[0], step, s.number) for s in where if s.kind == "tripod")]


def scan_scene(
    scene: Scene,
    where: list[stations.Station],
    points: int,
    instrument: Instrument = TRIPOD,
    *,
    seed: int = 0,
    wind: float = 0.0,
    thin_ground: float = 0.04,
) -> Scan:
    """Scan with the angular step that gives about `points` returns off the ground; ground points thinned as users do.

    Parameters
    ----------
    wind : float            Sd of the outer twigs' movement. [m]
    thin_ground : float     One ground point per cube of this edge; 0 keeps all. [m]
    """
    targets = Targets(scene.parts)
    where = scanner.fitted_step(targets, where, points, instrument)
    got = scanner.scan(scene.parts, where, instrument, seed=seed, wind=blow(scene.tree, wind, seed) if wind else None, targets=targets)
    got = _grass(got, seed)
    if thin_ground:
        on_ground = got.of("ground")
        keep = np.concatenate([np.nonzero(~on_ground)[0], np.nonzero(on_ground)[0][one_per_cell(got.where(on_ground), thin_ground, seed)]])
        got = got.where(np.sort(keep))
    return got


def simple_scan(
    seed: int,
    habit: str | Habit = "broadleaf",
    *,
    positions: int = 3,
    leaf_on: bool = False,
    points: int = 1_000_000,
    height: float = 15.0,
    dbh: float = 0.45,
    slope: float = 0.0,
    registration: float = 0.003,
    range_sd: float = 0.003,
    wind: float = 0.0,
    bark: Bark = Bark(),
    mode: str = "tripod",
    neighbour: bool = False,
    ivy_up_to: float = 0.0,
    person: bool = False,
    thinnest: float = 0.01,
) -> tuple[PointCloud, WoodGraph, Scan]:
    """One tree on its ground, scanned: the cloud a user gets, the exact wood graph, and the truth of every point.

    Parameters
    ----------
    positions : int     Tripods round the tree.
    points : int        About so many returns from the tree (and what else stands there); the ground comes on top.
    slope : float       Of the ground. [rad]
    mode : str          "tripod", "walk" (2 cm noise and drift) or "drone" (from above).
    neighbour : bool    A second tree 0.4 heights away, crowns touching.
    ivy_up_to : float   Ivy round the stem up to this height. [m]
    person : bool       Somebody stands 1.2 m from the stem.
    thinnest : float    Smallest diameter in the truth graph. [m]

    Returns
    -------
    PointCloud, WoodGraph, Scan     `Scan.part` (index into `meshes.PARTS`), `Scan.node` (node of the *grown* tree: see `GrownTree.kept`).
    """
    tree = grow(seed, habit, height=height, dbh=dbh)
    ground = Ground(slope, uphill=seed % 6, seed=seed)
    others = [(grow(seed + 1, habit, height=0.8 * height, dbh=0.7 * dbh), (0.4 * height, 0.05 * height))] if neighbour else None
    leafing = None if not leaf_on else leaves.NEEDLES if habit == "conifer" else leaves.BROAD
    beside = {"neighbours": others, "neighbour_leafing": leafing, "ivy_up_to": ivy_up_to, "person": (0.9, 0.8) if person else None}
    scene = make_scene(tree, ground=ground, leafing=leafing, bark=bark, seed=seed, **beside)
    got = scan_scene(scene, places(scene, mode, positions, seed), points, instrument_for(mode, registration, range_sd), seed=seed, wind=wind)
    return got.cloud(source=f"made-up {habit if isinstance(habit, str) else 'tree'} {seed}"), scene.truth(thinnest), got


def places(scene: Scene, mode: str = "tripod", positions: int = 3, seed: int = 0) -> list[stations.Station]:
    """Stations for a way of scanning."""
    low, high = _box(scene.tree)
    middle = (low + high) / 2
    if mode == "tripod":
        return ring_of_tripods(scene, positions, seed=seed)
    if mode == "walk":
        return [
            stations.walk(np.append(middle[:2], 0), 0.5 * scene.tree.height, 1.7, low=float(scene.ground(np.zeros(2))), turns=max(positions, 1) / 2)
        ]
    if mode == "drone":
        return stations.drone(np.append(middle[:2], low[2]), 0.7 * scene.tree.height, float(high[2]) + 35.0, lines=max(positions, 1))
    raise ValueError(f"no such way of scanning: {mode!r}")


def instrument_for(mode: str, registration: float = 0.003, range_sd: float = 0.003) -> Instrument:
    """The usual instrument for a way of scanning, a tripod's noise as asked."""
    if mode == "tripod":
        return Instrument(range_sd=range_sd, registration=registration)
    return WALKED if mode == "walk" else DRONE


def _box(tree: GrownTree) -> tuple[Floats, Floats]:
    """Bounding box of the tree with a margin. [m]"""
    return tree.xyz.min(axis=0) - [1.0, 1.0, 0.3], tree.xyz.max(axis=0) + np.array([1.0, 1.0, 0.5])


def _grass(got: Scan, seed: int) -> Scan:
    """Raise ground points by short grass: an exponential of 1.2 cm mean."""
    rng = np.random.default_rng([seed, 53])
    xyz = got.xyz.copy()
    on_ground = got.of("ground")
    xyz[on_ground, 2] += rng.exponential(0.012, on_ground.sum())
    return Scan(xyz, got.part, got.node, got.station, got.intensity, got.return_number, got.spread)
