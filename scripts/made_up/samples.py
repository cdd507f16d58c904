"""The four sample scenes. Places and trees are invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from made_up import leaves
from made_up.grow import grow
from made_up.grown_tree import broken
from made_up.habits import HABITS
from made_up.instruments import Instrument
from made_up.meshes import Bark, wire_line
from made_up.scan import Scan, one_per_cell
from made_up.scenes import Ground, Scene, make_scene, ring_of_tripods, scan_scene, with_surroundings
from made_up.stations import Station
from made_up.truth import MapFrame
from treescan.units import US_SURVEY_FOOT_M


@dataclass(frozen=True)
class Sample:
    """One sample scan: the scene, where it was scanned from, with what, and how it is thinned.

    Attributes
    ----------
    points : int            Returns off the ground before thinning.
    cell, ground_cell : float   One point per cube of this edge, off the ground and on it. [m]
    wind : float            Sd of the outer twigs' movement. [m]
    """

    name: str
    about: str
    scene: Scene
    where: list[Station]
    instrument: Instrument
    place: MapFrame
    points: int
    cell: float
    ground_cell: float
    wind: float = 0.0
    seed: int = 0

    def scan(self, points: int | None = None) -> Scan:
        """Scan and thin; the same points every time."""
        got = scan_scene(self.scene, self.where, points or self.points, self.instrument, seed=self.seed, wind=self.wind, thin_ground=self.ground_cell)
        far = np.hypot(got.xyz[:, 0], got.xyz[:, 1]) > 26.0
        got = got.where(~far)
        size = np.where(got.of("ground"), self.ground_cell, np.where(got.of("wall"), 0.03, self.cell))
        return got.where(one_per_cell(got, size, self.seed))


def quillmoor_green_qg07() -> Sample:
    """Open-grown oak with three leaders and deadwood."""
    tree = grow(104, replace(HABITS["broadleaf"], dead=0.12, stubs=0.8), height=18.0, dbh=0.78, thinnest=0.006)
    ground = Ground(slope=np.radians(6.0), uphill=np.radians(215.0), mounds=0.09, seed=7)
    neighbour = grow(212, "broadleaf", height=11.5, dbh=0.34, toward_light=(0.02, 0.02))
    wall = {"from": (-17.0, -12.5), "to": (9.0, -15.5), "height": 1.9}
    a, b = np.array([-22.0, 13.5]), np.array([20.0, 16.0])
    wire = wire_line(np.append(a, ground(a) + 6.6), np.append(b, ground(b) + 6.4), 0.7)
    scene = make_scene(
        tree,
        ground=ground,
        bark=Bark(ellipse=0.05, rough=0.025, lobes=0.10),
        neighbours=[(neighbour, (13.0, 5.5))],
        walls=[wall],
        wires=[wire],
        seed=104,
    )
    where = with_surroundings(ring_of_tripods(scene, 4, 12.5, seed=3))
    about = "open-grown oak-like tree, three leaders, deadwood, sloping ground, neighbour, wall, service wire; leaf-off, 4 positions, 3 mm noise, 3 mm registration"
    return Sample(
        "quillmoor_green_qg07",
        about,
        scene,
        where,
        Instrument(),
        MapFrame((512_347.0, 5_411_862.0, 231.0), "EPSG:25832"),
        4_000_000,
        0.016,
        0.11,
        0.004,
        104,
    )


def bracken_hythe_conifer() -> Sample:
    """Whorled fir-like conifer; one whorl is dead stubs."""
    tree = grow(41, "conifer", height=17.0, dbh=0.40, thinnest=0.006)
    feet = np.array([tree.parent[np.argmax(tree.axis == k)] for k in range(int(tree.axis.max()) + 1)])
    first = np.array([tree.order[np.argmax(tree.axis == k)] == 1 for k in range(int(tree.axis.max()) + 1)])
    whorl = np.nonzero(first & (np.abs(tree.xyz[feet, 2] - 9.3) < 0.28))[0]
    tree = broken(tree, whorl, 0.45)
    ground = Ground(slope=np.radians(3.0), uphill=1.0, mounds=0.06, seed=11)
    scene = make_scene(tree, ground=ground, leafing=replace(leaves.NEEDLES, per_metre=24.0), bark=Bark(rough=0.02), seed=41)
    where = with_surroundings(ring_of_tripods(scene, 3, 10.0, seed=5))
    foot = US_SURVEY_FOOT_M
    place = MapFrame((1_243_610.0 * foot, 641_220.0 * foot, 412.0 * foot), "EPSG:2286+6360", foot)
    about = "whorled fir-like conifer in light needle, the whorl near 9.3 m is dead stubs; file in US survey feet; 3 positions, 4 mm noise, 4 mm registration"
    return Sample(
        "bracken_hythe_conifer", about, scene, where, Instrument(range_sd=0.004, registration=0.004), place, 2_000_000, 0.014, 0.10, 0.006, 41
    )


def marl_steps_slope() -> Sample:
    """Tree on a 25 degree bank, light leaves."""
    tree = grow(63, replace(HABITS["leaning"], lean=7.0), height=13.0, dbh=0.42, lean_azimuth=np.radians(100.0), thinnest=0.006)
    ground = Ground(slope=np.radians(25.0), uphill=np.radians(280.0), mounds=0.05, seed=13)
    scene = make_scene(tree, ground=ground, leafing=leaves.LIGHT, bark=Bark(ellipse=0.06, rough=0.02), seed=63)
    where = with_surroundings(ring_of_tripods(scene, 3, 9.5, seed=6))
    about = "tree on a 25 degree bank, leaning 7 degrees downhill, light leaves; local frame without a reference; 3 positions, 4 mm noise, 4 mm registration"
    return Sample(
        "marl_steps_slope", about, scene, where, Instrument(range_sd=0.004, registration=0.004), MapFrame(), 2_000_000, 0.016, 0.10, 0.008, 63
    )


def wick_end() -> Sample:
    """Bad data: one position, wind, ivy."""
    tree = grow(88, "broadleaf", height=14.0, dbh=0.5, thinnest=0.006)
    ground = Ground(slope=np.radians(2.0), uphill=2.0, mounds=0.05, seed=17)
    scene = make_scene(tree, ground=ground, ivy_up_to=7.0, seed=88)
    where = with_surroundings(ring_of_tripods(scene, 1, 17.0, seed=8), 0.004)
    about = "one position only, twigs blown about by 12 cm, ivy to 7 m: must end in 'not assessable'"
    return Sample(
        "wick_end", about, scene, where, Instrument(range_sd=0.008, divergence=0.0005, registration=0.004), MapFrame(), 700_000, 0.018, 0.10, 0.12, 88
    )


SAMPLES: dict[str, Callable[[], Sample]] = {f.__name__: f for f in (quillmoor_green_qg07, bracken_hythe_conifer, marl_steps_slope, wick_end)}
"""Every sample by its name."""
