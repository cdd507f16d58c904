"""The inventory values of the tree: diameter at breast height, height, volume, lean."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from treescan.trees.beside import Terrain
from treescan.wood.graph import BREAST_HEIGHT, Floats, Ints, StemFigures, WoodGraph
from treescan.wood.quality.stems_at_breast import diameter_at, stems_at_breast

LEAN_HEIGHT = 3.0
"""The lean is that of the stem up to this height above its foot [m] (common practice)."""


def stem_figures(
    graph: WoodGraph, terrain: Terrain, top_z: float | None = None, breast_height: float = BREAST_HEIGHT
) -> StemFigures:
    """Diameter at breast height, height, wood volume and lean.

    Parameters
    ----------
    graph : WoodGraph
    terrain : Terrain           Breast height counts from the highest ground touching the stem.
    top_z : float, optional     Highest point of the tree, twigs and leaves included [m, local]; default: of the graph.
    breast_height : float       1.3 m, or 1.37 m where that is the custom. [m]

    Notes
    -----
    Breast height is measured from the highest point of the ground at the stem (common practice on slopes). The diameter is read off
    the stem limb at that height, or below it where a fork swells the stem there (`stems` states the height), the radius between nodes straight; it is NaN where the stem was not seen there, or seen too poorly to state a diameter.
    Where the stem is oval it is the diameter of the round of the same area; a girth tape reads more, by 0.1 % for widths that differ by 8 %
    and 0.4 % for 15 % (an ellipse's girth: 1 + 3/4 of the square of their difference over their sum). Volume: frusta of
    all segments, the part of a limb that lies inside its parent counted once.
    """
    stem = stem_path(graph)
    ground = ground_at_stem(graph, terrain)
    stems = stems_at_breast(graph, ground, breast_height)
    main = next((t for t in stems if t.limb == 0), None)
    dbh, dbh_sd = (main.dbh, main.dbh_sd) if main else diameter_at(graph, stem, ground + breast_height)
    top = float(np.max(graph.xyz[:, 2] + graph.radius)) if top_z is None else float(top_z)
    return StemFigures(
        graph.xyz[0].copy(),
        dbh,
        dbh_sd,
        top - float(graph.xyz[0, 2]),
        wood_volume(graph),
        _lean(graph, stem),
        stems,
    )


def without_diameters(stem: StemFigures) -> StemFigures:
    """Height, place and lean only: what is left to state of a tree that cannot be assessed."""
    none = float("nan")
    return replace(stem, dbh=none, dbh_sd=none, wood_volume=none, stems=())


def stem_path(graph: WoodGraph) -> Ints:
    """Nodes of the stem from the foot to its top."""
    return graph.limbs.nodes[0]


def ground_at_stem(graph: WoodGraph, terrain: Terrain) -> float:
    """Height of the highest ground touching the stem. [m, local]  Where the terrain is unseen: the foot of the graph."""
    foot = graph.xyz[0]
    stem = stem_path(graph)
    r = float(np.max(graph.radius[stem[: min(4, len(stem))]]))
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    ring = foot[:2] + r * np.column_stack([np.cos(turn), np.sin(turn)])
    z = terrain.height_at(np.vstack([foot[:2], ring]))
    return float(np.nanmax(z)) if np.isfinite(z).any() else float(foot[2])


def wood_volume(graph: WoodGraph) -> float:
    """Volume of all segments as frusta, overlaps inside parent limbs left out. [m3]"""
    s = graph.segments
    if len(s.node) == 0:
        return 0.0
    length = np.linalg.norm(s.end - s.start, axis=1)
    outside = _outside_share(graph)
    r_start = s.r_end + (s.r_start - s.r_end) * outside
    return float(np.sum(np.pi / 3 * length * outside * (r_start**2 + r_start * s.r_end + s.r_end**2)))


def _outside_share(graph: WoodGraph) -> Floats:
    """Outer share of every segment that lies beyond the bark of the limb it leaves, (n - 1,)."""
    out = np.ones(len(graph) - 1)
    for k in range(1, len(graph.limbs)):
        line = graph.limbs.nodes[k]
        union = int(graph.parent[line[0]])
        axis = graph.direction[union]
        thick = float(graph.segment_radius[union]) if union else float(graph.radius[0])
        for node in line:
            p, q = graph.xyz[graph.parent[node]] - graph.xyz[union], graph.xyz[node] - graph.xyz[union]
            dp, dq = (float(np.linalg.norm(x - (x @ axis) * axis)) for x in (p, q))
            if dq <= thick and np.linalg.norm(q) < 4 * thick:
                out[node - 1] = 0.0
                continue
            if dp < thick:
                out[node - 1] = min(1.0, max(0.0, (dq - thick) / max(dq - dp, 1e-9)))
            break
    return out


def _lean(graph: WoodGraph, stem: Ints) -> float:
    """Angle of the lower stem from the vertical, by a straight line through its axis. [rad]"""
    p = graph.xyz[stem]
    low = p[(p[:, 2] - p[0, 2]) <= LEAN_HEIGHT]
    if len(low) < 2:
        low = p[:2]
    if len(low) < 2:
        return 0.0
    d = np.linalg.svd(low - low.mean(axis=0), full_matrices=False)[2][0]
    return float(np.arccos(np.clip(abs(d[2]), 0.0, 1.0)))
