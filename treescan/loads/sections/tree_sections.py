"""Where is each section of the tree, how strong is it, and what weight does it carry already?

Section i belongs to segment i (node i down to its parent) and lies at the segment's lower end, where a
cantilever is stressed most. The first segment of a limb ends at the parent's bark: deeper, the wood belongs
to the union. Segments inside the parent are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit
from scipy.spatial import cKDTree

from treescan.loads.material.defects import Reported, kept_area, kept_shear, lay_out
from treescan.loads.material.section_strength import bark_factor, section_strength, unseen_union_factor
from treescan.loads.material.union_factor import fork_factors
from treescan.loads.material.wood_strength import Wood
from treescan.loads.rope.contacts import bark_exit, bark_radius
from treescan.loads.sections.section_stress import SectionForces, oval_stretch, utilisation
from treescan.loads.sections.union_direction import fork_normals, sideways_stretch
from treescan.loads.settings import INSIDE, ONE_SHARE, LoadSettings, live_share
from treescan.short_repr import ShortRepr
from treescan.trees.beside import Beside
from treescan.units import G
from treescan.wood.graph import Floats, WoodGraph

ALL_ROUND = np.deg2rad(240.0)
"""Bark seen round a limb from which its union counts as seen from above (project choice: from three sides)."""

LEAF_REACH = 2.0
"""Foliage further than this from any wood is not hung on it [m] (project choice)."""


@dataclass(frozen=True, repr=False)
class TreeSections(ShortRepr):
    """All sections of one tree, row i belongs to segment i (row 0, the root, is no section).

    Attributes
    ----------
    point : (n, 3) float        Where the section is taken. [m]
    axis : (n, 3) float         Along the limb, outward.
    radius : (n,) float         Of the load-bearing round. [m]  NaN = not seen.
    sd : (n,) float             Relative standard deviation of the radius.
    counted : (n,) bool         False inside the parent limb, and at the root.
    known : (n,) bool           False where the scan bridged a gap, gave no diameter or one whose error is as
        large as itself; gaps shorter than the limit aside.
    k : (n, 3) float            Union factor low, middle, high; 1 away from forks.
    fork : (n,) bool            True where a limb meets its parent.
    reported : Reported
    weight : (n,) float         Of everything above the section. [N]
    own_moment : (n, 3) float   Moment of that weight about the section. [N m]
    own_use : (n,) float        Median stress over strength under that weight alone; NaN where not counted or
        not known.
    aspect : (n,) float         Aspect ratio of the union the section stands at; NaN away from unions.
    fork_normal : (n, 3) float  From `fork_normals`; 0 away from nearly codominant unions.
    uneven : (n,) bool          True where a section is not as strong all round: oval (as reported, else as
        measured), or at a nearly codominant union.
    stretch : (n, 3, 3) float   From `oval_stretch` and `sideways_stretch`, 1 on the diagonal where neither;
        (0, 3, 3) where no section is uneven.
    bending, crushing, shear : (n,) float   Median strengths of the section's kind, before k. [Pa]
    tree_spread, limb_spread : (n,) float   Log standard deviations of those strengths: common to the tree,
        and of every limb by itself.
    plane : (n,) float          Correlation of the limb's own part in two bending planes square to each other.
    """

    point: Floats
    axis: Floats
    radius: Floats
    sd: Floats
    counted: np.ndarray
    known: np.ndarray
    k: Floats
    fork: np.ndarray
    reported: Reported
    weight: Floats
    own_moment: Floats
    own_use: Floats
    aspect: Floats
    fork_normal: Floats
    uneven: np.ndarray
    stretch: Floats
    bending: Floats
    crushing: Floats
    shear: Floats
    tree_spread: Floats
    limb_spread: Floats
    plane: Floats

    @cached_property
    def kept(self) -> dict[tuple[object, ...], Any]:
        """What was worked out of these sections and their graph alone, by what was asked; in memory only."""
        return {}

    @cached_property
    def judged(self) -> dict[tuple[object, ...], Any]:
        """What loads do to these sections, by the loads, see `judging.placed`; in memory only."""
        return {}


def tree_sections(graph: WoodGraph, beside: Beside, wood: Wood, settings: LoadSettings) -> TreeSections:
    """Sections of the whole tree; the same for every rope system and work point, so it is made once."""
    reported = lay_out(graph, settings)
    point, counted, fork = _section_points(graph)
    radius = (
        graph.segment_radius * (1.0 - wood.bark_share)
        if settings.section == INSIDE
        else graph.segment_radius.copy()
    )
    k, aspect = fork_factors(graph, reported.included, settings)
    normal = fork_normals(graph, aspect)
    moved = np.flatnonzero(fork & ~counted)
    for first in moved:  # the factor belongs to the section that is really taken, at the bark
        line = graph.limbs.nodes[graph.limb[first]]
        beyond = [int(i) for i in line if i >= first and counted[i]][:1]
        k[beyond], aspect[beyond], normal[beyond], fork[beyond] = k[first], aspect[first], normal[first], True
    weight, own = _own_weight(graph, beside, wood, settings, point)
    oval, stretch = _stretched(graph, reported)
    uneven, stretch = _sideways(graph, oval, stretch, normal, aspect)
    kept = _kept(graph, reported, aspect, oval, wood, settings)
    if settings.strength_model != ONE_SHARE:
        k *= unseen_union_factor(aspect, surface_seen(graph, aspect, reported))
    sd = graph.radius_sd / np.where(graph.radius > 0, graph.radius, np.nan)
    sd = np.where(np.isfinite(sd), np.maximum(sd, settings.diameter_sd_least), settings.diameter_sd_unstated)
    known = graph.seen & np.isfinite(radius) & (radius > 0) & (sd <= settings.diameter_sd_most)
    spanned, radius = _spanned(graph, known, counted, point, radius, settings.longest_bridge)
    sd = np.where(spanned, np.clip(sd, settings.diameter_sd_unstated, settings.diameter_sd_most), sd)
    strengths = wood.mor * kept.bending, wood.compression * kept.bending, wood.shear * kept.shear
    return TreeSections(
        point=point,
        axis=graph.direction,
        radius=radius,
        sd=sd,
        counted=counted,
        known=known | spanned,
        k=k,
        fork=fork,
        reported=reported,
        weight=weight,
        own_moment=own,
        own_use=_own_use(
            graph,
            weight,
            own,
            np.where(counted & (known | spanned), radius, np.nan),
            reported,
            stretch,
            k[:, 1],
            strengths,
        ),
        aspect=aspect,
        fork_normal=normal,
        uneven=uneven,
        stretch=stretch,
        bending=strengths[0],
        crushing=strengths[1],
        shear=strengths[2],
        tree_spread=kept.tree_spread,
        limb_spread=kept.limb_spread,
        plane=kept.plane,
    )


def as_cut(
    sections: TreeSections, graph: WoodGraph, beside: Beside, wood: Wood, settings: LoadSettings, left: Floats
) -> TreeSections:
    """The same sections where parts of the tree were cut off: what they weigh, and how that stresses them, anew.

    Parameters
    ----------
    left : (n,) float       Share of every segment that still stands, from its lower end up.
    """
    weight, own = _own_weight(graph, beside, wood, settings, sections.point, left)
    strengths = sections.bending, sections.crushing, sections.shear
    radius = np.where(sections.counted & sections.known, sections.radius, np.nan)
    used = _own_use(
        graph, weight, own, radius, sections.reported, sections.stretch, sections.k[:, 1], strengths
    )
    return replace(sections, weight=weight, own_moment=own, own_use=used)


@dataclass(frozen=True)
class _Kept:
    """Median share of clear-wood strength that every section keeps, and its spread; all (n,)."""

    bending: Floats
    shear: Floats
    tree_spread: Floats
    limb_spread: Floats
    plane: Floats


def _kept(graph: WoodGraph, reported: Reported, aspect: Floats, oval: np.ndarray, wood: Wood, settings: LoadSettings) -> _Kept:
    """By the kind of section, or one share for all (the low alternative); bark taken off by hand ("inside bark") goes with the one share."""
    n, log_mor = len(graph), np.log1p(wood.mor_cov**2)
    inside = settings.section == INSIDE
    shear = settings.shear_share_inside if inside else settings.shear_share_outside
    if settings.strength_model == ONE_SHARE or inside:
        share, live_cov = live_share(settings)
        log_live = np.log1p(live_cov**2)
        median = np.exp(-0.5 * (log_mor + log_live))
        one = np.ones(n)
        return _Kept(share * median * one, shear * median * one, np.sqrt(log_mor) * one, np.sqrt(log_live) * one, one)
    kind = section_strength(2 * graph.segment_radius, graph.limb == 0, aspect, oval, surface_seen(graph, aspect, reported))
    middle = np.exp(-0.5 * log_mor)  # of a table's mean
    return _Kept(
        kind.share * bark_factor(wood.bark_share) * middle,
        shear * middle * np.exp(-0.5 * kind.own**2),
        np.hypot(np.sqrt(log_mor), kind.common),
        kind.own,
        kind.plane,
    )


def surface_seen(graph: WoodGraph, aspect: Floats, reported: Reported) -> np.ndarray:
    """Whether the upper surface of the union at every section was seen, (n,) bool: bark seen most of the way round on either side of it, or
    reported by a person; True away from unions.

    A crease between two stems is a strip the scan may not reach, so less than `ALL_ROUND` of either limb's bark leaves the union unseen.
    """
    parent = np.maximum(graph.parent, 0)
    seen = (graph.arc >= ALL_ROUND) & (graph.arc[parent] >= ALL_ROUND) & graph.seen & graph.seen[parent]
    return np.isnan(aspect) | seen | np.isin(parent, list(reported.included))


def _stretched(graph: WoodGraph, reported: Reported) -> tuple[np.ndarray, Floats]:
    """Which sections are oval, (n,), and their `oval_stretch`, (n, 3, 3): what a person reported wins over
    what the scan measured."""
    told = np.isfinite(reported.oval)
    by_hand, by_scan = told & (reported.oval != 1.0), ~told & (graph.oval != 1.0)
    oval = by_hand | by_scan
    if not oval.any():
        return oval, np.zeros((0, 3, 3))
    out = np.tile(np.eye(3), (len(graph), 1, 1))
    out[by_hand] = oval_stretch(graph.direction[by_hand], reported.oval[by_hand])
    out[by_scan] = oval_stretch(graph.direction[by_scan], graph.oval[by_scan], graph.oval_dir[by_scan])
    return oval, out


def _sideways(
    graph: WoodGraph, oval: np.ndarray, stretch: Floats, normal: Floats, aspect: Floats
) -> tuple[np.ndarray, Floats]:
    """Which sections are oval or weaker sideways, and the maps of both together; stretch from `_stretched`."""
    weaker, sideways = sideways_stretch(graph.direction, normal, aspect)
    if not weaker.any():
        return oval, stretch
    return oval | weaker, sideways @ stretch if len(stretch) else sideways


def _own_use(
    graph: WoodGraph,
    weight: Floats,
    moment: Floats,
    radius: Floats,
    reported: Reported,
    stretch: Floats,
    k: Floats,
    strengths: tuple[Floats, Floats, Floats],
) -> Floats:
    """Median stress over strength of every section under the tree's own weight."""
    t = graph.direction
    if len(stretch):
        moment = np.einsum("sij,sj->si", stretch, moment)
    axial, torsion = -weight * t[:, 2], np.sum(moment * t, axis=1)
    across = np.sqrt(np.maximum(weight**2 - axial**2, 0.0))
    bent = np.sqrt(np.maximum(np.sum(moment**2, axis=1) - torsion**2, 0.0))
    bending, crushing, shear = strengths
    use = utilisation(
        SectionForces(axial, across, bent, np.abs(torsion)),
        radius,
        bending * reported.keep * k,
        crushing * kept_area(reported.keep),
        shear * kept_shear(reported.keep),
    )
    return np.maximum(*use)


def _section_points(graph: WoodGraph) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Lower end of every segment, moved out to the parent's bark at forks; which are counted; which stand at
    a fork."""
    point = graph.xyz[np.maximum(graph.parent, 0)].copy()
    counted, fork = np.ones(len(graph), bool), np.zeros(len(graph), bool)
    counted[0] = False
    lines = [np.asarray(line, np.int64) for line in graph.limbs.nodes[1:] if len(line)]
    if not lines:
        return point, counted, fork
    start = np.cumsum([0, *(len(line) for line in lines)])
    _to_the_bark(
        np.concatenate(lines),
        start,
        graph.parent,
        graph.xyz,
        graph.direction,
        bark_radius(graph),
        point,
        counted,
        fork,
    )
    return point, counted, fork


@njit(cache=True, error_model="numpy")
def _to_the_bark(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    nodes, start, parent, xyz, direction, bark, point, counted, fork,
):
    """Moves the first section of every limb out to its parent's bark (writes point, counted, fork)."""
    for limb in range(len(start) - 1):
        line = nodes[start[limb] : start[limb + 1]]
        fork[line[0]] = True
        row, share = bark_exit(line, parent, xyz, direction, bark)
        for i in line[:row]:
            counted[i] = False
        first = line[row]
        for c in range(3):
            point[first, c] += share * (xyz[first, c] - point[first, c])


@njit(cache=True)
def _summed(parent, values):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Sum of values (n, c) over each node's whole upper part, itself included, in place."""
    for i in range(len(parent) - 1, 0, -1):
        for c in range(values.shape[1]):
            values[parent[i], c] += values[i, c]


def _spanned(
    graph: WoodGraph, known: np.ndarray, counted: np.ndarray, point: Floats, radius: Floats, longest: float
) -> tuple[np.ndarray, Floats]:
    """Sections in gaps too short to matter, and the radii with the thinner end of the gap put into them.

    A gap counts from where its first section is taken to its last node; it must be shorter than `longest` and
    than the limb's diameter and have seen wood of the same limb beyond it (and before it, unless it starts at
    the parent's bark). [m]
    """
    spanned, out = np.zeros(len(graph), bool), radius.copy()
    own = np.flatnonzero(counted)
    own = own[np.argsort(graph.limb[own], kind="stable")]  # every limb's sections from its parent outward
    gap, limb = ~known[own], graph.limb[own]
    new = np.concatenate([[True], (gap[1:] != gap[:-1]) | (limb[1:] != limb[:-1])])
    first = np.flatnonzero(new)  # of every stretch of one limb that is all gap or all known
    end = np.append(first[1:], len(own))
    beyond = np.minimum(end, len(own) - 1)
    ends_well = (end < len(own)) & (limb[beyond] == limb[first])
    starts_well = (first > 0) & (limb[first - 1] == limb[first])
    here = gap[first] & ends_well & (starts_well | (limb[first] != 0))
    step = np.linalg.norm(np.diff(graph.xyz[own], axis=0, prepend=graph.xyz[own[:1]]), axis=1)
    run = np.cumsum(step)
    length = run[end - 1] - run[first] + np.linalg.norm(graph.xyz[own[first]] - point[own[first]], axis=1)
    thin = np.minimum(radius[own[beyond]], np.where(starts_well, radius[own[first - 1]], np.inf))
    for k in np.flatnonzero(here & (length <= np.minimum(longest, 2 * thin))):
        rows = own[first[k] : end[k]]
        spanned[rows] = True
        out[rows] = np.fmin(radius[rows], thin[k])
    return spanned, out


def _own_weight(
    graph: WoodGraph,
    beside: Beside,
    wood: Wood,
    settings: LoadSettings,
    point: Floats,
    left: Floats | None = None,
) -> tuple[Floats, Floats]:
    """Weight above every section and its moment about it; `left` as in `as_cut`, None = the whole tree."""
    n = len(graph)
    if not settings.self_weight:
        return np.zeros(n), np.zeros((n, 3))
    s, stands = graph.segments, np.ones(n) if left is None else left
    up = stands[1:]
    a, b = s.r_start, np.where(up < 1, s.r_start + up * (s.r_end - s.r_start), s.r_end)
    length = up * graph.length[1:]
    square = a * a + a * b + b * b
    mass, centre = np.zeros(n), graph.xyz.copy()
    mass[1:] = np.nan_to_num(np.pi / 3 * length * square) * wood.density
    mass[1:] *= np.where(graph.limb[1:] > 0, 1.0 + settings.twig_share, 1.0)
    share = np.where(
        square > 0, (a * a + 2 * a * b + 3 * b * b) / (4 * np.where(square > 0, square, 1.0)), 0.5
    )
    centre[1:] = s.start + (up * np.nan_to_num(share, nan=0.5))[:, None] * (s.end - s.start)
    loads = np.column_stack([mass, mass[:, None] * centre])
    if settings.leaves != "off":
        loads += stands[:, None] * _foliage(graph, beside, settings)
    if settings.leaves == "on" and beside.foliage.bare:  # scanned bare, judged in leaf
        loads[1:] += np.where(graph.limb[1:] > 0, settings.leaf_share, 0.0)[:, None] * loads[1:]
    _summed(graph.parent, loads)
    total = loads * G
    arm = total[:, 1:] - total[:, :1] * point
    return total[:, 0], np.cross(arm, [0.0, 0.0, -1.0])


def _foliage(graph: WoodGraph, beside: Beside, settings: LoadSettings) -> Floats:
    """Mass and first moment (n, 4) of twigs and leaves, each voxel hung on the nearest node. [kg], [kg m]"""
    out = np.zeros((len(graph), 4))
    f = beside.foliage
    cells = np.argwhere(f.density > 0)
    if len(cells) == 0 or settings.leaf_mass == 0:
        return out
    centre = f.corner + (cells + 0.5) * f.cell
    mass = f.density[tuple(cells.T)].astype(float) * f.cell**3 * settings.leaf_mass
    distance, node = cKDTree(graph.xyz).query(centre, distance_upper_bound=LEAF_REACH)
    near = np.isfinite(distance)
    for column, value in enumerate((mass, *(mass[:, None] * centre).T)):
        out[:, column] = np.bincount(node[near], value[near], minlength=len(graph))
    return out
