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
from treescan.wood.graph import WoodGraph

WORST_CV = 0.3
"""Largest error of a radius over the radius that a mass is spread by: twigs known no better weigh next to
nothing (project choice)."""


UNKNOWN_CV = 0.08
"""Error of a radius over the radius where the scan states none (project choice)."""

PERCENTILE_95 = 1.645
"""Standard deviations from the median of a normal distribution to its 95th percentile."""


@dataclass(frozen=True)
class Cut:
    """One cut: everything the graph carries at `node` and above comes off.

    label : name of the piece, the crew's own or one made here; made : what a name made here stands for, None
    where the crew named it.
    """

    node: int
    label: str
    made: Reason | None = None

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

    number : 1 is the first cut; length : longest straight measure of the piece [m]; diameter, diameter_sd :
    of the wood at the cut [m]; mass : of the green piece with twigs [kg]; lost, lost_unions : anchors that go
    with it, and their unions; left : anchors that stay, best ranked first; spar : True when nothing but stem
    is left above the ground after it; alarms : what must not be done; hang : of those left, the anchors whose
    straight rope reaches the cut, best ranked first.
    """

    number: int
    cut: Cut
    height: float
    length: float
    diameter: float
    diameter_sd: float
    mass: Estimate
    lost: tuple[str, ...]
    lost_unions: tuple[str, ...]
    left: tuple[str, ...]
    spar: bool
    alarms: tuple[Reason, ...]
    hang: tuple[str, ...]

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
        )
        lost = (Reason("cut_loses", anchors=self.lost),) if self.lost else ()
        hang = Reason("cut_hang", anchors=self.hang) if self.hang else Reason("cut_no_hang")
        return (*self.alarms, piece, *lost, hang, *((Reason("cut_leaves_spar"),) if self.spar else ()))


class SparDiameter(NamedTuple):
    """The stem at one height: height above the foot, diameter, sd of the diameter. [m]"""

    height: float
    diameter: float
    diameter_sd: float


def cut_limb(graph: WoodGraph, limb: int, label: str = "") -> Cut:
    """A cut that takes one whole limb off at its union; label : the crew's own name for the piece, "" =
    none."""
    if not 0 < limb < len(graph.limbs):
        raise BadInput(
            f"limb {limb} cannot be cut off",
            remedy=f"limbs are numbered 1 to {len(graph.limbs) - 1}; give a height to cut the stem",
        )
    node = int(graph.limbs.nodes[limb][0])
    return Cut(node, label) if label else Cut(node, f"limb-{limb}", Reason("cut_limb", limb=limb))


def cut_stem(graph: WoodGraph, height: float, label: str = "") -> Cut:
    """A cut through the stem (limb 0) at a height above its foot [m]; label : the crew's own name for the
    piece, "" = none."""
    line = graph.limbs.nodes[0]
    above = line[graph.xyz[line, 2] - graph.xyz[0, 2] >= height]
    if height <= 0 or len(above) == 0:
        raise BadInput(
            f"the stem cannot be cut at {height:.1f} m",
            remedy="give a height between the foot and the top of the stem",
        )
    node = int(above[0])
    return Cut(node, label) if label else Cut(node, f"stem-{height:.1f}", Reason("cut_stem", height=height))


def check_order(graph: WoodGraph, removal: Removal) -> None:
    """BadInput where a cut takes nothing off because an earlier one already did, all such in one go."""
    here = np.ones(len(graph), bool)
    empty = []
    for i, cut in enumerate(removal.cuts):
        gone = graph.above(cut.node) & here
        if not gone.any():
            empty.append(f"cut {i + 1} ({cut.label})")
        here &= ~gone
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
    here = np.ones(len(graph), bool)
    known = reaches or {}
    out = []
    for i, cut in enumerate(removal.cuts):
        gone = graph.above(cut.node) & here
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
        top = graph.xyz[gone]
        out.append(
            Stage(
                number=i + 1,
                cut=cut,
                height=float(graph.xyz[cut.node, 2] - graph.xyz[0, 2]),
                length=float(np.linalg.norm(top - graph.xyz[cut.node], axis=1).max()),
                diameter=2 * float(graph.segment_radius[cut.node]),
                diameter_sd=2 * float(graph.radius_sd[cut.node]),
                mass=piece_mass(graph, gone, density, settings),
                lost=tuple(p.name for p in lost),
                lost_unions=tuple(dict.fromkeys(p.label for p in lost)),
                left=tuple(p.name for p in left),
                spar=bool(np.all(graph.limb[after] == 0)),
                alarms=alarms,
                hang=tuple(p.name for p in left if p.name in known and known[p.name][i]),
            )
        )
        here = after
    return tuple(out)


def piece_mass(
    graph: WoodGraph, gone: NDArray[np.bool_], density: float, settings: PlanningSettings
) -> Estimate:
    """Green mass of the segments that come off, with twigs and leaves. [kg]

    Parameters
    ----------
    gone : (n,) bool        Nodes whose segments (down to the parent) belong to the piece.

    Notes
    -----
    pi r^2 L x density x (1 + crown allowance), summed. The 5th and 95th percentiles take density (common to
    all), and radius errors taken as common along a limb: relative variance = sd_density^2 + sum over limbs
    of (2 cv_r m_limb / m)^2.
    """
    rows = np.flatnonzero(gone)
    mass = (
        np.pi
        * graph.segment_radius[rows] ** 2
        * graph.length[rows]
        * density
        * (1 + settings.crown_allowance)
    )
    total = float(mass.sum())
    if total <= 0:
        return Estimate(0.0, 0.0, 0.0)
    sd = graph.radius_sd[rows]
    cv = np.where(np.isfinite(sd), sd / np.maximum(graph.radius[rows], 1e-9), UNKNOWN_CV)
    cv = np.minimum(cv, WORST_CV)
    by_limb = np.bincount(graph.limb[rows], weights=2 * cv * mass)
    spread = float(np.sqrt(settings.green_density_sd**2 + np.sum((by_limb / total) ** 2)))
    return Estimate(total, total * np.exp(-PERCENTILE_95 * spread), total * np.exp(PERCENTILE_95 * spread))


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
