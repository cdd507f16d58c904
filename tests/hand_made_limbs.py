"""Trees drawn by hand: one upright stem and straight limbs, so that every answer can be worked out on paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.throw.scene.flight_scene import build_scene
from treescan.throw.settings import Method, ThrowSettings
from treescan.trees.beside import Beside, Site, Terrain
from treescan.wood.graph import WoodGraph
from treescan.wood.topology.assemble import assemble

EAST, NORTH = np.pi / 2, 0.0


@dataclass(frozen=True)
class Limb:
    """A straight limb: height on the stem [m], azimuth and rise [rad], length and radius [m]."""

    height: float
    azimuth: float
    rise: float = 0.0
    length: float = 3.0
    radius: float = 0.05


def upright(limbs: list[Limb], *, height: float = 10.0, radius: float = 0.15, step: float = 0.25) -> WoodGraph:
    """A stem of constant radius at the origin with straight limbs of constant radius."""
    levels = np.unique(np.round(np.concatenate([np.arange(0, height + 1e-9, 0.5), [limb.height for limb in limbs]]), 9))
    xyz = [np.array([0.0, 0.0, z]) for z in levels]
    r, parent = [radius] * len(xyz), [-1, *range(len(xyz) - 1)]
    for limb in limbs:
        d = np.array([np.sin(limb.azimuth) * np.cos(limb.rise), np.cos(limb.azimuth) * np.cos(limb.rise), np.sin(limb.rise)])
        at = int(np.flatnonzero(np.isclose(levels, limb.height))[0])
        start = xyz[at]
        for s in np.linspace(0, limb.length, round(limb.length / step) + 1)[1:]:
            xyz.append(start + s * d)
            r.append(limb.radius)
            parent.append(at)
            at = len(xyz) - 1
    return assemble(np.array(xyz), np.array(r), np.array(parent))


def flat(graph: WoodGraph) -> Beside:
    """Level ground at the stem's foot and nothing else."""
    return Beside(Terrain.flat(float(graph.xyz[0, 2]), graph.xyz[0, :2]))


def scene_of(graph: WoodGraph, settings: ThrowSettings | None = None, beside: Beside | None = None, site: Site | None = None):
    """The compiled scene alone."""
    return build_scene(graph, beside or flat(graph), site or Site(), settings or ThrowSettings())


def spread(speed: float = 1e-5, elevation: float = 1e-6, side: float = 1e-6) -> Method:
    """A launcher-like method with any aim allowed and the given spreads, the same at every speed."""
    return Method(
        speed_low=2.0,
        speed_high=40.0,
        elevation_low=0.2,
        elevation_high=1.5,
        speed_sd=speed,
        elevation_sd=elevation,
        side_sd=side,
        effort_growth=0.0,
    )
