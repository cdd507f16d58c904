"""Where must hands or instruments get to? Work points on the wood, whatever way the user names them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from treescan.errors import BadInput
from treescan.geometry import inside
from treescan.planning.candidates.contact import looks_dead
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, Work
from treescan.planning.work.removal import Cut
from treescan.trees.beside import Beside
from treescan.wood.graph import Segments, WoodGraph

PIECE = 0.5
"""Named work is sampled at least this finely along the wood. [m]"""


def default_work(graph: WoodGraph, beside: Beside, settings: PlanningSettings) -> Work:
    """The whole crown, sampled on the wood axes.

    Parameters
    ----------
    graph : WoodGraph
    beside : Beside             Unused wood of neighbours never gets in: only the graph is sampled.
    settings : PlanningSettings `work_points` sets how many points.

    Returns
    -------
    Work    Equal pieces of limb, each with its metres as weight; the weights sum to the crown's whole length
    of axis.
    """
    rows = crown_segments(graph)
    if not rows.any():
        top = int(np.argmax(graph.xyz[:, 2]))
        return Work(graph.xyz[[top]], ("top",), ("crown",), np.ones(1))
    return _sampled(graph, rows, settings.work_points, "crown")


def crown_segments(graph: WoodGraph) -> NDArray[np.bool_]:
    """Segments of the crown: all limbs, and the stem above its lowest union, (s,)."""
    seg = graph.segments
    if len(graph.unions) == 0:
        return np.zeros(len(seg.node), bool)
    return (seg.limb != 0) | graph.above(int(graph.unions.node[0]))[seg.node] & (
        seg.node != graph.unions.node[0]
    )


def work_on_limbs(
    graph: WoodGraph,
    limbs: Sequence[int],
    settings: PlanningSettings,
    kind: str = "prune",
    carried: bool = True,
) -> Work:
    """Work along named limbs, with the branches they carry unless told otherwise; BadInput for an unknown
    limb."""
    for k in limbs:
        if not 0 <= k < len(graph.limbs):
            raise BadInput(
                f"limb {k} is not in this tree", remedy=f"limbs are numbered 0 to {len(graph.limbs) - 1}"
            )
    wanted = np.zeros(len(graph.limbs), bool)
    wanted[list(limbs)] = True
    if carried:
        for k in range(len(wanted)):
            if graph.limbs.parent[k] >= 0 and wanted[graph.limbs.parent[k]]:
                wanted[k] = True
    rows = wanted[graph.segments.limb]
    length = float(np.linalg.norm(graph.segments.end - graph.segments.start, axis=1)[rows].sum())
    return _sampled(graph, rows, max(1, min(settings.work_points, round(length / PIECE))), kind)


def work_in_area(
    graph: WoodGraph,
    ring: ArrayLike,
    settings: PlanningSettings,
    heights: tuple[float, float] | None = None,
    kind: str = "prune",
) -> Work:
    """Work on all wood above a drawn area.

    Parameters
    ----------
    ring : (p, 2) float         Corners in the plan. [m, local]
    heights : (low, high)       Keeps only the wood between these local heights. [m]
    """
    seg = graph.segments
    middle = (seg.start + seg.end) / 2
    rows = crown_segments(graph) & inside(ring, middle[:, :2])
    if heights is not None:
        rows &= (middle[:, 2] >= heights[0]) & (middle[:, 2] <= heights[1])
    if not rows.any():
        raise BadInput(
            "no limb lies over the drawn work area", remedy="check its coordinates, or give work points"
        )
    length = float(np.linalg.norm(seg.end - seg.start, axis=1)[rows].sum())
    return _sampled(graph, rows, max(1, min(settings.work_points, round(length / PIECE))), kind)


def work_at_points(
    graph: WoodGraph,
    xyz: ArrayLike,
    labels: Sequence[str] = (),
    kinds: Sequence[str] = (),
    weights: ArrayLike | None = None,
    farthest: float = 3.0,
) -> Work:
    """Work at given places; BadInput when one lies nowhere near this tree.

    Parameters
    ----------
    xyz : (w, 3) float          [m, local]  A z of NaN takes the height of the nearest wood in the plan.
    farthest : float            Largest distance from the wood that is still taken. [m]
    """
    points = np.array(xyz, float).reshape(-1, 3)
    blind = np.isnan(points[:, 2])
    if blind.any():
        _, near = cKDTree(graph.xyz[:, :2]).query(points[blind, :2])
        points[blind, 2] = graph.xyz[near, 2]
    names = tuple(labels) if len(labels) else tuple(f"W{i + 1:02d}" for i in range(len(points)))
    if not np.all(np.isfinite(points)):
        raise BadInput("a work point has no coordinates")
    gap, _ = cKDTree(graph.xyz).query(points)
    if len(points) and gap.max() > farthest:
        worst = int(np.argmax(gap))
        raise BadInput(
            f"work point {names[worst]} is {gap[worst]:.1f} m from any wood of this tree",
            remedy="check its coordinates and the frame",
        )
    if len(names) != len(points) or len(kinds) not in {0, len(points)}:
        raise BadInput("work points, labels and kinds differ in number")
    weight = np.ones(len(points)) if weights is None else np.array(weights, float)
    return Work(points, names, tuple(kinds) if len(kinds) else ("prune",) * len(points), weight)


def work_at_cuts(graph: WoodGraph, cuts: Sequence[Cut]) -> Work:
    """The places of the cuts of a removal, in their order, as work of kind "cut"."""
    places = np.array([c.place(graph) for c in cuts]).reshape(-1, 3)
    return Work(places, tuple(c.label for c in cuts), ("cut",) * len(cuts), np.ones(len(cuts)))


def deadwood_suspects(graph: WoodGraph, settings: PlanningSettings) -> Work:
    """Limbs that a union flags as dead suspects, as work of kind "deadwood"; empty when none is flagged. Low
    confidence: look from the ground."""
    u = graph.unions
    limbs = [int(u.arm_limb[r]) for k in range(len(u)) if looks_dead(graph, k) for r in u.laterals(k)]
    if not limbs:
        return Work(np.zeros((0, 3)), (), (), np.zeros(0))
    return work_on_limbs(graph, sorted(set(limbs)), settings, kind="deadwood")


def sample_work(graph: WoodGraph, count: int, seed: int, strata: int = 1, kind: str = "sample") -> Work:
    """Research sample points, drawn at random on the crown's axes by length.

    Parameters
    ----------
    count : int     Points in all.
    seed : int      The same seed gives the same points.
    strata : int    Height classes of equal depth that share the points evenly (1: simple random).
                    A weight is the metres of limb one point stands for, so weighted shares stay those of the
                    whole crown.
    """
    seg, rows = graph.segments, np.flatnonzero(crown_segments(graph))
    if len(rows) == 0:
        raise BadInput("the tree has no crown to sample")
    rng = np.random.default_rng(seed)
    length = np.linalg.norm(seg.end[rows] - seg.start[rows], axis=1)
    z = (seg.start[rows, 2] + seg.end[rows, 2]) / 2
    edges = np.linspace(z.min(), z.max(), strata + 1)
    band = np.clip(np.searchsorted(edges, z, side="right") - 1, 0, strata - 1)
    filled = [b for b in range(strata) if length[band == b].sum() > 0]
    xyz, label, weight = [], [], []
    for turn, b in enumerate(filled):
        share = count // len(filled) + (turn < count % len(filled))
        here = rows[band == b]
        cumulative = np.concatenate([[0.0], np.cumsum(length[band == b])])
        at = np.sort(rng.uniform(0, cumulative[-1], share))
        xyz.append(_points_at(seg, here, cumulative, at))
        label += [f"H{b + 1}-{i + 1:03d}" for i in range(share)]
        weight += [cumulative[-1] / max(share, 1)] * share
    return Work(np.concatenate(xyz), tuple(label), (kind,) * len(label), np.array(weight))


def joined(*works: Work) -> Work:
    """Several lists of work as one."""
    return Work(
        np.concatenate([w.xyz for w in works]),
        tuple(x for w in works for x in w.label),
        tuple(x for w in works for x in w.kind),
        np.concatenate([w.weight for w in works]),
    )


def _sampled(graph: WoodGraph, rows: NDArray[np.bool_], count: int, kind: str) -> Work:
    """`count` equal pieces of the picked segments laid end to end, limb after limb, a point in the middle of
    each.

    Every limb longer than a piece gets a point; of shorter ones every so-manyeth, so that the points stand
    for the metres of limb.
    """
    seg = graph.segments
    here = np.flatnonzero(rows)
    here = here[np.argsort(seg.limb[here], kind="stable")]
    cumulative = np.concatenate([[0.0], np.cumsum(np.linalg.norm(seg.end[here] - seg.start[here], axis=1))])
    at = (np.arange(count) + 0.5) * cumulative[-1] / count
    limb = seg.limb[here[_row_at(cumulative, at)]]
    new = np.r_[True, limb[1:] != limb[:-1]]
    turn = np.arange(count) - np.maximum.accumulate(np.where(new, np.arange(count), 0))
    label = tuple(f"L{k}-{i + 1}" for k, i in zip(limb, turn, strict=True))
    return Work(
        _points_at(seg, here, cumulative, at), label, (kind,) * count, np.full(count, cumulative[-1] / count)
    )


def _row_at(cumulative: Floats, at: Floats) -> NDArray[np.int64]:
    """Row of the list of segments that running lengths fall into."""
    return np.clip(np.searchsorted(cumulative, at, side="right") - 1, 0, len(cumulative) - 2)


def _points_at(seg: Segments, rows: NDArray, cumulative: Floats, at: Floats) -> Floats:
    """Places at running lengths along a list of segments."""
    i = _row_at(cumulative, at)
    share = (at - cumulative[i]) / np.maximum(cumulative[i + 1] - cumulative[i], 1e-12)
    return seg.start[rows[i]] + share[:, None] * (seg.end[rows[i]] - seg.start[rows[i]])
