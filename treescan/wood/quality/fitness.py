"""What is this scan fit for: the stem, the main unions, small limbs, or nothing? And what would a rescan need?"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from treescan.trees.single_tree import Tree
from treescan.wood.graph import Floats, ScanFitness, WoodGraph
from treescan.wood.quality.limb_fitness import FIT, grade, limb_fitness, measured
from treescan.wood.quality.stem_figures import LEAST_KNOWN
from treescan.wood.settings import WoodSettings

ONE_SIDE = 200.0
"""One place sees half the round; read in steps of 15 degrees with small gaps closed, that is up to this much [deg]."""


def scan_fitness(graph: WoodGraph, tree: Tree, settings: WoodSettings = WoodSettings()) -> ScanFitness:
    """Grade the scan in height bands and as a whole.

    Parameters
    ----------
    graph : WoodGraph
    tree : Tree             For the spacing of its wood points.

    Notes
    -----
    A band is fit for small limbs when at least half of its wood length of 3 to 10 cm diameter has an own measurement (sd under 15 %, all
    but a fifth seen); for main unions when the same holds for wood over 10 cm with sd under 10 %; for the stem when the stem's
    sd is under 10 %. Not assessable: no stem fit, or less than half of the wood over 10 cm measured at all (sd under a quarter), or the stem seen from one
    side only over most of its length, or half of the bands fit for nothing, or a stem too slender for its height (what was measured is then not
    the stem). The limits are a choice of this project.
    """
    z0 = float(graph.xyz[0, 2])
    mid = np.concatenate([[z0], 0.5 * (graph.xyz[1:, 2] + graph.xyz[graph.parent[1:], 2])]) - z0
    size = settings.level_of_fitness
    count = max(1, int(np.ceil(mid.max() / size)))
    spacing = _spacing(tree.wood.xyz)
    height = tree.wood.xyz[:, 2] - z0
    bands = []
    for b in range(count):
        rows = np.flatnonzero((mid >= b * size) & (mid < (b + 1) * size) & (graph.parent >= 0))
        here = (height >= b * size) & (height < (b + 1) * size)
        arc = graph.arc[rows]
        bands.append({
            "from_m": round(b * size, 2), "to_m": round((b + 1) * size, 2), "fit_for": FIT[grade(graph, rows)],
            "spacing_m": round(float(np.median(spacing[here])), 4) if here.any() else None,
            "arc_deg": round(float(np.degrees(np.nanmedian(arc))), 0) if np.isfinite(arc).any() else None,
        })  # fmt: skip
    reasons = _reasons(graph, tree.wood.xyz, settings, bands)
    return ScanFitness("not assessable" if reasons else "assessable", tuple(reasons) or (_praise(bands),), tuple(bands), limb_fitness(graph, tree.wood.xyz, np.radians(settings.arc_one_sided)))


def _spacing(xyz: Floats) -> Floats:
    """Distance of every point to its fourth neighbour, read on a sample, by nearest sample. [m]"""
    rows = np.arange(0, len(xyz), max(1, len(xyz) // 20_000))
    tree = cKDTree(xyz)
    d, _ = tree.query(xyz[rows], min(5, len(xyz)))
    out = np.interp(np.arange(len(xyz)), rows, d[:, -1])
    return out


def _reasons(graph: WoodGraph, wood: Floats, settings: WoodSettings, bands: list[dict]) -> list[str]:
    """Why the tree must not be ranked from this scan, each with what a rescan would need; empty when it may."""
    out = []
    stem = graph.limbs.nodes[0][1:]
    if len(stem) == 0:
        return ["No stem was found; rescan with the whole stem in view from at least three sides."]
    thick = np.flatnonzero((2 * graph.segment_radius >= 0.10) & (graph.parent >= 0))
    lower = stem[graph.xyz[stem, 2] - graph.xyz[0, 2] < 0.5 * np.ptp(graph.xyz[:, 2])]
    if len(thick) == 0:
        out.append("No wood of 10 cm or more was measured; rescan from nearer with more points on the stem.")
        return out
    if len(lower) and measured(graph, lower, 0.15) < 0.5:
        out.append("The lower stem's diameter could not be measured; rescan with more points, standing nearer.")
    share = measured(graph, thick, LEAST_KNOWN)
    if share < 0.5:
        out.append(f"Only {100 * share:.0f} % of the wood over 10 cm was measured well enough; rescan leaf-off, from three or more sides and nearer.")
    arc = graph.arc[thick]
    if np.isfinite(arc).any():
        length = graph.length[thick] / np.sum(graph.length[thick])
        one_sided = float(np.sum(length * (arc < np.radians(settings.arc_one_sided))))
        half = float(np.sum(length * (arc < np.radians(ONE_SIDE))))
        side = _hidden_side(graph, wood)
        if one_sided > 0.6:
            out.append(
                f"{100 * one_sided:.0f} % of the thick wood was seen from one side only (under {settings.arc_one_sided:.0f} degrees of bark)"
                f"; rescan from the other sides too{side}."
            )
        elif half > 0.85:
            out.append(
                f"{100 * half:.0f} % of the thick wood shows no more bark than one standing place can see (under {ONE_SIDE:.0f} degrees): what is"
                f" behind it is hidden; rescan from at least two more sides{side}."
            )
    if all(b["fit_for"] in ("nothing", "stem") for b in bands):
        out.append("No height band is fit for judging unions; rescan leaf-off with more points in the crown.")
    elif 2 * sum(b["fit_for"] == "nothing" for b in bands) >= len(bands):
        blind = ", ".join(f"{b['from_m']:.0f} to {b['to_m']:.0f} m" for b in bands if b["fit_for"] == "nothing")
        out.append(f"At least half of the height shows no wood that was measured well ({blind}); rescan leaf-off, in still air, from three or more sides.")
    tall, thick_at_foot = float(np.ptp(graph.xyz[:, 2])), 2 * float(graph.radius[[0, *lower]].max())
    if tall > settings.max_slender * thick_at_foot:
        out.append(
            f"The thickest wood in the lower stem measures {100 * thick_at_foot:.0f} cm, too thin to carry {tall:.0f} m: the stem itself was not seen "
            "(ivy, leaves or one side only); rescan from three or more sides."
        )
    return out


def _hidden_side(graph: WoodGraph, wood: Floats) -> str:
    """Where to stand: the side of the stem with no points, in words; empty when the points lie all round."""
    nodes = graph.limbs.nodes[0]
    nodes = nodes[graph.radius[nodes] >= 0.05]
    if len(nodes) == 0 or len(wood) == 0:
        return ""
    gap, near = cKDTree(graph.xyz[nodes]).query(wood[:: max(1, len(wood) // 50_000)], distance_upper_bound=2.0)
    rows = np.isfinite(gap) & (gap < 1.5 * graph.radius[nodes[np.minimum(near, len(nodes) - 1)]] + 0.05)
    off = (wood[:: max(1, len(wood) // 50_000)][rows] - graph.xyz[nodes[near[rows]]])[:, :2]
    off = off[np.linalg.norm(off, axis=1) > 0.02]
    if len(off) < 50:
        return ""
    seen = np.mean(off / np.linalg.norm(off, axis=1, keepdims=True), axis=0)
    if np.hypot(*seen) < 0.25:
        return ""
    azimuth = np.degrees(np.arctan2(-seen[0], -seen[1])) % 360
    return f", first of all standing at azimuth {10 * round(azimuth / 10) % 360} degrees from the stem (clockwise from +y of the scan)"


def _praise(bands: list[dict]) -> str:
    best = [b for b in bands if b["fit_for"] in ("main unions", "small limbs")]
    top = max(b["to_m"] for b in best)
    return f"Main unions can be judged up to {top:.0f} m above the foot; see the bands for where small limbs can."
