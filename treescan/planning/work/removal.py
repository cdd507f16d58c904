"""Taking a tree down piece by piece: what each cut carries away, which anchors die with it, and what is left
to hang on."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.work.stage_alarms import dies_with, rigging_alarms, support_alarms
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]

WORST_CV = 0.3
"""Largest error of a radius over the radius that a mass is spread by: twigs known no better weigh next to
nothing (project choice)."""


UNKNOWN_CV = 0.08
"""Error of a radius over the radius where the scan states none (project choice)."""

STUB = 0.5
"""A stub of a limb shorter than this holds no rope (project choice). [m]"""

PERCENTILE_95 = 1.645
"""Standard deviations from the median of a normal distribution to its 95th percentile."""


@dataclass(frozen=True)
class Cut:
    """One cut: the saw goes through the segment below `node`; all the graph carries above comes off.

    share : of that segment that stays, 0 = the saw goes at its lower end; lost_from : node from which nothing
    may hang any more, -1 = `node`: a stub that is left of a limb holds no rope. label : name of the piece,
    the crew's own or one made here; made : what a name made here stands for, None where the crew named it.
    """

    node: int
    label: str
    made: Reason | None = None
    share: float = 0.0
    lost_from: int = -1

    def place(self, graph: WoodGraph) -> Floats:
        """Where the saw goes, on the axis, (3,). [m, local]"""
        low = graph.xyz[max(int(graph.parent[self.node]), 0)]
        return low + self.share * (graph.xyz[self.node] - low)

    @property
    def first_lost(self) -> int:
        """Node from which on no anchor is left."""
        return self.lost_from if self.lost_from >= 0 else self.node

    @property
    def piece(self) -> Reason | str:
        """The piece as it is told: the crew's own name letter for letter, else what it is."""
        return self.made or self.label


@dataclass(frozen=True)
class Removal:
    """A tree to be taken down: the cuts in their order, and what the crew plans at each.

    life_support : what the climber hangs on at each cut: a union ("U07"), one anchor ("U07 MRS") or an anchor
    drawn in another tree; "" or missing = not planned. rigging : union node that carries the rigging block at
    each cut, -1 or missing = none.
    """

    cuts: tuple[Cut, ...]
    life_support: tuple[str, ...] = ()
    rigging: tuple[int, ...] = ()

    def __repr__(self) -> str:
        return f"Removal({len(self.cuts)} cuts: {', '.join(c.label for c in self.cuts)})"

    def support_at(self, number: int) -> str | None:
        """Union the climber hangs on at one cut (0 is the first), None where that is not planned."""
        return (self.life_support[number] if number < len(self.life_support) else "") or None

    def rigging_at(self, number: int) -> int | None:
        """Node of the union that carries the rigging block at one cut, None without one."""
        node = self.rigging[number] if number < len(self.rigging) else -1
        return node if node >= 0 else None


@dataclass(frozen=True)
class Stage:
    """What one cut does.

    number : 1 is the first cut; length : longest straight measure of the piece from the cut [m]; diameter,
    diameter_sd : of the wood at the cut, of a whole limb beside its union past the flare [m]; centre : of the
    piece's mass (3,) [m, local]; moment : of its weight about the cut [N m]; mass : of the green piece with
    twigs [kg]; lost, lost_unions : anchors that go
    with it, and their unions; left : anchors that stay, best ranked first; spar : True when nothing but stem
    is left above the ground after it; alarms : what must not be done; hang : of those left, the anchors whose
    straight rope reaches the cut, best ranked first; rigged : a block carries the piece.
    """

    number: int
    cut: Cut
    height: float
    length: float
    diameter: float
    diameter_sd: float
    mass: Estimate
    centre: Floats
    moment: float
    lost: tuple[str, ...]
    lost_unions: tuple[str, ...]
    left: tuple[str, ...]
    spar: bool
    alarms: tuple[Reason, ...]
    hang: tuple[str, ...]
    rigged: bool = False

    def reasons(self) -> tuple[Reason, ...]:
        """The stage in a few findings, alarms first."""
        piece = Reason(
            "cut_piece",
            number=self.number,
            piece=self.cut.piece,
            diameter=self.diameter,
            height=self.height,
            length=self.length,
            mass=self.mass.median,
            low=self.mass.p5,
            high=self.mass.p95,
            moment=self.moment,
        )
        lost = (Reason("cut_loses", anchors=self.lost),) if self.lost else ()
        hang = Reason("cut_hang", anchors=self.hang) if self.hang else Reason("cut_no_hang")
        rigged = (
            (Reason("rigging_load", weight=self.mass.p95 * G, force=2 * self.mass.p95 * G),)
            if self.rigged
            else ()
        )
        return (*self.alarms, piece, *rigged, *lost, hang, *((Reason("cut_leaves_spar"),) if self.spar else ()))


class SparDiameter(NamedTuple):
    """The stem at one height: height above the foot, diameter, sd of the diameter. [m]"""

    height: float
    diameter: float
    diameter_sd: float


def cut_limb(
    graph: WoodGraph, limb: int, label: str = "", at: float | None = None, height: float | None = None
) -> Cut:
    """A cut through a limb: at its union, where it leaves the bark of its parent; or farther out.

    Parameters
    ----------
    label : the crew's own name for the piece, "" = none.
    at : float              Distance from the parent's bark out along the limb's axis. [m]
    height : float          The first place along the limb so high above the stem's foot. [m]
    """
    if not 0 < limb < len(graph.limbs):
        raise BadInput(
            f"limb {limb} cannot be cut off",
            remedy=f"limbs are numbered 1 to {len(graph.limbs) - 1}; give a height to cut the stem",
        )
    line = graph.limbs.nodes[limb]
    along = np.cumsum(graph.length[line])
    bark = min(_way_to_bark(graph, limb), float(along[-1]))
    if height is not None:
        where = _where_as_high(graph, line, height)
        if where is None:
            raise BadInput(
                f"limb {limb} cannot be cut at {height:.1f} m",
                remedy="give a height that the limb reaches above its union",
            )
        made = Reason("cut_limb_height", limb=limb, height=height)
    else:
        s = bark + (at or 0.0)
        if (s > along[-1] - 1e-9 and at is not None) or (at is not None and at < 0):
            raise BadInput(
                f"limb {limb} cannot be cut {at:.1f} m out",
                remedy=f"it is {along[-1] - bark:.1f} m long from the bark of its parent",
            )
        i = min(int(np.searchsorted(along, s, side="right")), len(line) - 1)
        where = int(line[i]), float(np.clip(1 - (along[i] - s) / max(graph.length[line[i]], 1e-12), 0.0, 1.0))
        made = Reason("cut_limb", limb=limb) if at is None else Reason("cut_limb_at", limb=limb, at=at)
    node, share = where
    out = float(along[np.flatnonzero(line == node)[0]]) - (1 - share) * float(graph.length[node]) - bark
    lost_from = int(line[0]) if out < STUB else -1
    return Cut(node, label or f"limb-{limb}", None if label else made, share, lost_from)


def _way_to_bark(graph: WoodGraph, limb: int) -> float:
    """Distance along a limb's axis from its start to where it leaves the bark of its parent; at most the parent's
    diameter, for one that goes on where the parent pointed. [m]"""
    line = graph.limbs.nodes[limb]
    start = int(graph.parent[line[0]])
    r, way = float(graph.radius[start]), graph.direction[start]
    off = graph.xyz[line] - graph.xyz[start]
    beside = np.linalg.norm(off - np.outer(off @ way, way), axis=1)
    along = np.cumsum(graph.length[line])
    out = np.flatnonzero(beside >= r)
    if len(out) == 0:
        return min(2 * r, float(along[-1]))
    i = int(out[0])
    before, here = (float(beside[i - 1]), float(along[i - 1])) if i else (0.0, 0.0)
    share = (r - before) / max(float(beside[i]) - before, 1e-12)
    return min(here + share * (float(along[i]) - here), 2 * r)


def _where_as_high(graph: WoodGraph, line: NDArray[np.int32], height: float) -> tuple[int, float] | None:
    """The segment (its child node) of an axis that first reaches a height above the stem's foot, and the share of
    it below; None where none does."""
    z = graph.xyz[:, 2] - graph.xyz[0, 2]
    for node in line:
        low, high = float(z[max(int(graph.parent[node]), 0)]), float(z[node])
        if low < height <= high:
            return int(node), (height - low) / (high - low)
    return None


def cut_stem(graph: WoodGraph, height: float, label: str = "") -> Cut:
    """A cut through the stem (limb 0) at a height above its foot [m]; label : the crew's own name for the
    piece, "" = none."""
    where = _where_as_high(graph, graph.limbs.nodes[0], height) if height > 0 else None
    if where is None:
        raise BadInput(
            f"the stem cannot be cut at {height:.1f} m",
            remedy="give a height between the foot and the top of the stem",
        )
    node, share = where
    made = None if label else Reason("cut_stem", height=height)
    return Cut(node, label or f"stem-{height:.1f}", made, share)


def _taken(graph: WoodGraph, cut: Cut, left: Floats) -> Floats:
    """Share of every segment that a cut takes, where `left` still stand, (n,)."""
    out = np.where(graph.above(cut.node), left, 0.0)
    out[cut.node] = max(float(left[cut.node]) - cut.share, 0.0)
    return out


def check_order(graph: WoodGraph, removal: Removal) -> None:
    """BadInput where a cut takes nothing off because an earlier one already did, all such in one go."""
    left = np.ones(len(graph))
    empty = []
    for i, cut in enumerate(removal.cuts):
        taken = _taken(graph, cut, left)
        if not (taken > 1e-9).any():
            empty.append(f"cut {i + 1} ({cut.label})")
        left = left - taken
    if empty:
        raise BadInput(
            f"{', '.join(empty)} takes nothing off: an earlier cut already did",
            remedy="check the order of the cuts",
        )


def stages(
    graph: WoodGraph,
    removal: Removal,
    points: Sequence[TieInPoint],
    density: float,
    settings: PlanningSettings,
    reaches: Mapping[str, NDArray[np.bool_]] | None = None,
    others: Collection[str] = (),
) -> tuple[Stage, ...]:
    """The whole removal, cut by cut.

    Parameters
    ----------
    points : all tie-in points; only usable ones are followed, the others tell what must not be hung on.
    density : float             Green density of the wood. [kg/m3]
    reaches : anchor name to (c,) bool      Cuts its straight rope reaches, where that is known.
    others : names of anchors drawn in other trees, which life support may name.
    """
    check_order(graph, removal)
    here, whole = np.ones(len(graph), bool), np.ones(len(graph))
    known = reaches or {}
    out = []
    for i, cut in enumerate(removal.cuts):
        gone = graph.above(cut.first_lost) & here
        taken, top = _taken(graph, cut, whole), whole
        whole = whole - taken
        after = here & ~gone
        lost, left = _sorted_out(points, gone, after, graph)
        alarms = (
            *support_alarms(graph, removal.support_at(i), gone, here, points, others),
            *rigging_alarms(
                graph, removal.rigging_at(i), removal.support_at(i), cut.piece, gone, here, points
            ),
            *((Reason("cut_anchors_go", n=len(lost)),) if lost and removal.support_at(i) is None else ()),
            *(() if left else (Reason("cut_no_anchor_left"),)),
        )
        place = cut.place(graph)
        mass = piece_mass(graph, taken, density, settings, top)
        centre = _centre(graph, taken, top, place)
        reach = np.linalg.norm(graph.xyz[taken > 0] - place, axis=1)
        diameter, sd = _diameter_at(graph, cut)
        out.append(
            Stage(
                number=i + 1,
                cut=cut,
                height=float(place[2] - graph.xyz[0, 2]),
                length=float(reach.max()),
                diameter=diameter,
                diameter_sd=sd,
                mass=mass,
                centre=centre,
                moment=mass.median * G * float(np.linalg.norm((centre - place)[:2])),
                lost=tuple(p.name for p in lost),
                lost_unions=tuple(dict.fromkeys(p.label for p in lost)),
                left=tuple(p.name for p in left),
                spar=bool(np.all(graph.limb[after] == 0)),
                alarms=alarms,
                hang=tuple(p.name for p in left if p.name in known and known[p.name][i]),
                rigged=removal.rigging_at(i) is not None,
            )
        )
        here = after
    return tuple(out)


def piece_mass(
    graph: WoodGraph,
    gone: Floats | NDArray[np.bool_],
    density: float,
    settings: PlanningSettings,
    top: Floats | None = None,
) -> Estimate:
    """Green mass of the segments that come off, with twigs and leaves. [kg]

    Parameters
    ----------
    gone : (n,) bool or float   Share of each segment (down to the parent) that belongs to the piece.
    top : (n,) float            Share of each segment's length at which the piece ends; None = 1, its node.

    Notes
    -----
    Truncated cones x density x (1 + crown allowance), summed; the allowance for twigs and leaves only for limbs
    whose tip is in the piece: a log between two cuts has none. The 5th and 95th percentiles take density (common to
    all), and radius errors taken as common along a limb: relative variance = sd_density^2 + sum over limbs
    of (2 cv_r m_limb / m)^2.
    """
    share = np.asarray(gone, float)
    rows = np.flatnonzero(share > 0)
    tips = np.array([share[line[-1]] > 0 if len(line) else False for line in graph.limbs.nodes])
    twigs = np.where(tips[graph.limb[rows]], settings.crown_allowance, 0.0)
    mass = _volumes(graph, share, np.ones(len(graph)) if top is None else top)[rows] * density * (1 + twigs)
    total = float(mass.sum())
    if total <= 0:
        return Estimate(0.0, 0.0, 0.0)
    sd = graph.radius_sd[rows]
    cv = np.where(np.isfinite(sd), sd / np.maximum(graph.radius[rows], 1e-9), UNKNOWN_CV)
    cv = np.minimum(cv, WORST_CV)
    by_limb = np.bincount(graph.limb[rows], weights=2 * cv * mass)
    spread = float(np.sqrt(settings.green_density_sd**2 + np.sum((by_limb / total) ** 2)))
    return Estimate(total, total * np.exp(-PERCENTILE_95 * spread), total * np.exp(PERCENTILE_95 * spread))


def _volumes(graph: WoodGraph, taken: Floats, top: Floats) -> Floats:
    """Volume of the share `taken` of every segment, its upper end at the share `top` of the segment's length,
    (n,): truncated cones. [m3]"""
    seg, out = graph.segments, np.zeros(len(graph))
    share, end = taken[seg.node], top[seg.node]
    low, high = (seg.r_start + at * (seg.r_end - seg.r_start) for at in (end - share, end))
    squares = low**2 + low * high + high**2
    out[seg.node] = np.pi / 3 * graph.length[seg.node] * share * squares
    return out


def _centre(graph: WoodGraph, taken: Floats, top: Floats, place: Floats) -> Floats:
    """Centre of the wood of a piece, (3,); `taken` and `top` as in `_volumes`. [m, local]"""
    rows = np.flatnonzero(taken > 0)
    low = graph.xyz[np.maximum(graph.parent[rows], 0)]
    middle = low + (top[rows] - 0.5 * taken[rows])[:, None] * (graph.xyz[rows] - low)
    weight = _volumes(graph, taken, top)[rows]
    return np.average(middle, axis=0, weights=weight) if weight.sum() > 0 else place


def _diameter_at(graph: WoodGraph, cut: Cut) -> tuple[float, float]:
    """Diameter at a cut and its sd: beside a union what was measured past the flare, else between the nodes.
    [m]"""
    u = graph.unions
    limb = int(graph.limb[cut.node])
    rows = np.flatnonzero(u.arm_limb == limb) if limb > 0 else np.zeros(0, int)
    near = [r for r in rows if not u.arm_continues[r]]
    line = graph.limbs.nodes[limb]
    out = float(graph.length[line[: np.flatnonzero(line == cut.node)[0] + 1]].sum())
    out -= (1 - cut.share) * float(graph.length[cut.node])
    if near and out <= _way_to_bark(graph, limb) + 0.05:
        return float(u.arm_diameter[near[0]]), float(u.arm_diameter_sd[near[0]])
    low = int(graph.parent[cut.node])
    inner = low if low >= 0 and graph.limb[low] == limb else cut.node
    d = 2 * ((1 - cut.share) * graph.radius[inner] + cut.share * graph.radius[cut.node])
    return float(d), 2 * float(graph.radius_sd[cut.node])


def _sorted_out(
    points: Sequence[TieInPoint], gone: NDArray[np.bool_], left: NDArray[np.bool_], graph: WoodGraph
) -> tuple[tuple[TieInPoint, ...], tuple[TieInPoint, ...]]:
    """The usable anchors that go with a piece, and those that stay."""
    standing = [p for p in points if p.usable and not dies_with(graph, p, ~(gone | left))]
    lost = tuple(p for p in standing if dies_with(graph, p, gone))
    return lost, tuple(p for p in standing if not dies_with(graph, p, gone))


def spar_diameters(graph: WoodGraph, step: float = 1.0) -> tuple[SparDiameter, ...]:
    """The stem by height from the foot up, every `step` metres."""
    line = graph.limbs.nodes[0]
    z = graph.xyz[line, 2] - graph.xyz[0, 2]
    out = []
    for h in np.arange(0.0, float(z.max()) + 1e-9, step):
        i = int(np.argmin(np.abs(z - h)))
        out.append(
            SparDiameter(float(h), 2 * float(graph.radius[line[i]]), 2 * float(graph.radius_sd[line[i]]))
        )
    return tuple(out)
