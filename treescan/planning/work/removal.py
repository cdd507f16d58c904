"""Taking a tree down piece by piece: what each cut carries away, which anchors die with it, and what is left to hang on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.wood.graph import WoodGraph

WORST_CV = 0.3
"""Largest error of a radius over the radius that a mass is spread by: twigs known no better weigh next to nothing (project choice)."""


@dataclass(frozen=True)
class Cut:
    """One cut: everything the graph carries at `node` and above comes off. label : as the crew calls the piece."""

    node: int
    label: str


@dataclass(frozen=True)
class Removal:
    """A tree to be taken down: the cuts in their order, and what the crew plans at each.

    life_support : union label the climber hangs on at each cut, "" or missing = not planned; rigging : union node that carries the
    rigging block at each cut, -1 or missing = none.
    """

    cuts: tuple[Cut, ...]
    life_support: tuple[str, ...] = ()
    rigging: tuple[int, ...] = ()


@dataclass(frozen=True)
class Stage:
    """What one cut does.

    number : 1 is the first cut; length : longest straight measure of the piece [m]; diameter, diameter_sd : of the wood at the
    cut [m]; mass : of the green piece with twigs [kg]; lost : anchors that go with it; left : anchors that stay, best ranked
    first; spar : True when nothing but stem is left above the ground after it; alarms : sentences; hang : of those left, the
    anchors whose straight rope reaches the cut, best ranked first.
    """

    number: int
    cut: Cut
    height: float
    length: float
    diameter: float
    diameter_sd: float
    mass: Estimate
    lost: tuple[str, ...]
    left: tuple[str, ...]
    spar: bool
    alarms: tuple[str, ...]
    hang: tuple[str, ...] = ()

    def words(self) -> str:
        """The stage in a few sentences, alarms last."""
        m = self.mass
        out = [
            f"Cut {self.number}, {self.cut.label}: {100 * self.diameter:.0f} cm thick at {self.height:.1f} m, piece {self.length:.1f} m long, "
            f"about {m.median:.0f} kg ({m.p5:.0f} to {m.p95:.0f})."
        ]
        if self.lost:
            out.append(f"With it go {_listed(self.lost)}.")
        out.append(f"Hang from {_listed(self.hang)} for it." if self.hang else "No ranked anchor reaches this cut by straight rope: lanyard and choked line.")
        if self.spar:
            out.append("After it only the pole stands.")
        return " ".join((*out, *self.alarms))


def cut_limb(graph: WoodGraph, limb: int, label: str = "") -> Cut:
    """A cut that takes one whole limb off at its union."""
    if not 0 < limb < len(graph.limbs):
        raise BadInput(
            f"limb {limb} cannot be cut off",
            remedy=f"limbs are numbered 1 to {len(graph.limbs) - 1}; give a height to cut the stem",
        )
    return Cut(int(graph.limbs.nodes[limb][0]), label or f"limb {limb}")


def cut_stem(graph: WoodGraph, height: float, label: str = "") -> Cut:
    """A cut through the stem (limb 0) at a height above its foot. [m]"""
    line = graph.limbs.nodes[0]
    above = line[graph.xyz[line, 2] - graph.xyz[0, 2] >= height]
    if height <= 0 or len(above) == 0:
        raise BadInput(f"the stem cannot be cut at {height:.1f} m", remedy="give a height between the foot and the top of the stem")
    return Cut(int(above[0]), label or f"stem above {height:.1f} m")


def stages(
    graph: WoodGraph,
    cuts: Sequence[Cut],
    points: Sequence[TieInPoint],
    density: float,
    settings: PlanningSettings,
    life_support: Sequence[str] = (),
    rigging: Sequence[int] = (),
    reaches: Mapping[str, NDArray[np.bool_]] | None = None,
) -> tuple[Stage, ...]:
    """The whole removal, cut by cut.

    Parameters
    ----------
    points : ranked tie-in points; only usable ones are followed.
    density : float             Green density of the wood. [kg/m3]
    life_support : labels       Union the climber hangs on at each stage, "" or missing = not planned.
    rigging : nodes             Union nodes that carry the rigging block at each stage, -1 or missing = none.
    reaches : anchor name to (c,) bool      Cuts its straight rope reaches, where that is known.
    """
    here = np.ones(len(graph), bool)
    out = []
    for i, cut in enumerate(cuts):
        gone = graph.above(cut.node) & here
        if not gone.any():
            raise BadInput(f"cut {i + 1} ({cut.label}) takes nothing off: an earlier cut already did", remedy="check the order of the cuts")
        lost, left = _sorted_out(points, gone, here & ~gone, graph)
        after = here & ~gone
        alarms = _alarms(
            graph,
            cut,
            gone,
            here,
            points,
            lost,
            life_support[i] if i < len(life_support) else "",
            rigging[i] if i < len(rigging) else -1,
        )
        if not left:
            alarms += ("No ranked anchor is left after this cut: neighbour tree, spar technique with choked line and lanyard, or platform.",)
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
                lost=lost,
                left=left,
                spar=bool(np.all(graph.limb[after] == 0)),
                alarms=alarms,
                hang=tuple(name for name in left if reaches is not None and name in reaches and reaches[name][i]),
            )
        )
        here = after
    return tuple(out)


def piece_mass(graph: WoodGraph, gone: NDArray[np.bool_], density: float, settings: PlanningSettings) -> Estimate:
    """Green mass of the segments that come off, with twigs and leaves. [kg]

    Parameters
    ----------
    gone : (n,) bool        Nodes whose segments (down to the parent) belong to the piece.

    Notes
    -----
    pi r^2 L x density x (1 + crown allowance), summed. The 5th and 95th percentiles take density (common to all), and radius
    errors taken as common along a limb: relative variance = sd_density^2 + sum over limbs of (2 cv_r m_limb / m)^2.
    """
    rows = np.flatnonzero(gone)
    mass = np.pi * graph.segment_radius[rows] ** 2 * graph.length[rows] * density * (1 + settings.crown_allowance)
    total = float(mass.sum())
    if total <= 0:
        return Estimate(0.0, 0.0, 0.0)
    cv = np.where(np.isfinite(graph.radius_sd[rows]), graph.radius_sd[rows] / np.maximum(graph.radius[rows], 1e-9), 0.08)
    cv = np.minimum(cv, WORST_CV)
    by_limb = np.bincount(graph.limb[rows], weights=2 * cv * mass)
    spread = float(np.sqrt(settings.green_density_sd**2 + np.sum((by_limb / total) ** 2)))
    return Estimate(total, total * np.exp(-1.645 * spread), total * np.exp(1.645 * spread))


def dies_with(graph: WoodGraph, point: TieInPoint, gone: NDArray[np.bool_]) -> bool:
    """True when any wood the rope bears on comes off.

    The limb at the union, the union itself, or a further support of a basal line.
    """
    configuration = point.check.configuration
    bearing = [configuration.rest_node, int(graph.unions.node[point.union]), *configuration.via, *configuration.beyond]
    return bool(gone[bearing].any())


def _sorted_out(
    points: Sequence[TieInPoint], gone: NDArray[np.bool_], left: NDArray[np.bool_], graph: WoodGraph
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the usable anchors that go with a piece, and of those that stay."""
    standing = [p for p in points if p.usable and not dies_with(graph, p, ~(gone | left))]
    lost = tuple(f"{p.label} {p.system}" for p in standing if dies_with(graph, p, gone))
    return lost, tuple(f"{p.label} {p.system}" for p in standing if not dies_with(graph, p, gone))


def _alarms(
    graph: WoodGraph,
    cut: Cut,
    gone: NDArray[np.bool_],
    here: NDArray[np.bool_],
    points: Sequence[TieInPoint],
    lost: tuple[str, ...],
    life: str,
    rigging: int,
) -> tuple[str, ...]:
    """What must not be done at one stage."""
    out = []
    if life:
        mine = [p for p in points if p.label == life]
        if not mine:
            raise BadInput(f"life support '{life}' is not a union of this tree")
        if any(dies_with(graph, p, ~here) for p in mine[:1]):
            out.append(f"{life} is already gone at this stage: no life support on it.")
        elif any(dies_with(graph, p, gone) for p in mine):
            out.append(f"Life support on {life} is on or above the piece that is cut: move to another anchor before this cut.")
    if rigging >= 0:
        if gone[rigging]:
            out.append(f"The rigging point is on the piece that is cut ({cut.label}).")
        if life and any(_same_wood(graph, p, rigging) for p in points if p.label == life):
            out.append(f"Life support and rigging share the wood at {life}: keep them apart.")
    if lost and not life:
        out.append(f"{len(lost)} anchor(s) go with this piece: nobody may hang on them.")
    return tuple(out)


def _same_wood(graph: WoodGraph, point: TieInPoint, node: int) -> bool:
    """The rigging point is the same union, or one limb (not the stem) carries both."""
    if int(graph.unions.node[point.union]) == node:
        return True
    limb = graph.limb[point.check.configuration.rest_node]
    return bool(limb == graph.limb[node] and graph.limbs.order[limb] > 0)


def _listed(names: Sequence[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def spar_diameters(graph: WoodGraph, step: float = 1.0) -> tuple[tuple[float, float, float], ...]:
    """The stem by height: (height above the foot, diameter, sd of the diameter), from the foot up. [m]"""
    line = graph.limbs.nodes[0]
    z = graph.xyz[line, 2] - graph.xyz[0, 2]
    out = []
    for h in np.arange(0.0, float(z.max()) + 1e-9, step):
        i = int(np.argmin(np.abs(z - h)))
        out.append((float(h), 2 * float(graph.radius[line[i]]), 2 * float(graph.radius_sd[line[i]])))
    return tuple(out)
