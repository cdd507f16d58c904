"""Taking a tree down piece by piece: what does each cut carry away, which anchors die with it, and what is left
to hang on?"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treescan.estimate import Estimate
from treescan.planning.removal.block_load import BlockLoad
from treescan.planning.removal.piece_swing import PieceSwing
from treescan.planning.removal.pieces import centre_of, diameter_at, ends_of, farthest_bark, piece_mass, wood_of
from treescan.planning.removal.stage_strength import Strength
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.work.removal import Cut, Removal, check_order, taken
from treescan.planning.work.stage_alarms import dies_with, may_hang, rigging_alarms, support_alarms
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Segments, WoodGraph

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stage:
    """What one cut does.

    number : 1 is the first cut; length : longest straight measure of the piece from the cut [m]; diameter,
    diameter_sd : of the wood at the cut, of a whole limb beside its union past the flare [m]; centre : of the
    piece's mass (3,) [m, local]; moment : of its weight about the cut [N m]; mass : of the green piece with
    twigs [kg]; lost, lost_unions : anchors that go
    with it, and their unions; left : anchors that stay, best ranked first; spar : True when nothing but stem
    is left above the ground after it; alarms : what must not be done; hang : of those left, the anchors whose
    straight rope reaches the cut, best ranked first, only such as hold in the tree as it then stands where that was
    judged; carries : union of the block that is planned to carry the piece, "" without one; elsewhere : anchors drawn in other trees whose straight rope reaches
    the cut; support : the planned life support in the tree as it then stands; offered : those of `hang` likewise;
    block, swing : what the rigging block bears, and how the piece swings below it, None where not planned or not
    judged; rigging : both in findings, with what climber and block ask together of the stem they share;
    room : distances to wires and areas that raise no alarm; wood : of the piece as it stands, from the saw on; reach : from
    the middle of the cut to the farthest bark of the piece [m].
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
    wood: Segments
    reach: float
    carries: str = ""
    elsewhere: tuple[str, ...] = ()
    support: tuple[Strength, ...] = ()
    offered: tuple[Strength, ...] = ()
    block: BlockLoad | None = None
    swing: PieceSwing | None = None
    rigging: tuple[Reason, ...] = ()
    room: tuple[Reason, ...] = ()

    def __repr__(self) -> str:
        return f"Stage({self.number}, {self.cut.label!r}, alarms={len(self.alarms)})"

    @property
    def strengths(self) -> tuple[Strength, ...]:
        """The planned life support, unless it goes with the piece, and the anchors offered, each once."""
        found = {s.name: s for s in (*self.support, *self.offered) if s.name not in self.lost}
        return tuple(found.values())

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
        told = tuple(s.reason for s in self.strengths)
        then = (Reason("cut_strengths", anchors=told),) if told else ()
        other = tuple(Reason("anchor_quoted", anchor=name) for name in self.elsewhere)
        other = (Reason("cut_hang_elsewhere", anchors=other),) if other else ()
        rigged = self.rigging
        if self.carries and not rigged:
            rigged = (Reason("rigging_load", weight=self.mass.p95 * G, force=2 * self.mass.p95 * G),)
        return (*self.alarms, piece, *self.room, *rigged, *lost, hang, *then, *other, *((Reason("cut_leaves_spar"),) if self.spar else ()))


class SparDiameter(NamedTuple):
    """The stem at one height: height above the foot, diameter, sd of the diameter. [m]"""

    height: float
    diameter: float
    diameter_sd: float


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
        off, top = taken(graph, cut, whole), whole
        whole = whole - off
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
        mass = piece_mass(graph, off, density, settings, top)
        centre = centre_of(graph, off, top, place)
        reach = np.linalg.norm(ends_of(graph, off, top) - place, axis=1)
        diameter, sd = diameter_at(graph, cut)
        wood = wood_of(graph, off, top)
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
                carries=_label(graph, removal.rigging_at(i)),
                wood=wood,
                reach=farthest_bark(wood, place),
            )
        )
        here = after
    return tuple(out)


def _label(graph: WoodGraph, node: int | None) -> str:
    """Label of a union by its node, "" for none."""
    return "" if node is None else graph.unions.label[int(np.flatnonzero(graph.unions.node == node)[0])]


def _sorted_out(
    points: Sequence[TieInPoint], gone: NDArray[np.bool_], left: NDArray[np.bool_], graph: WoodGraph
) -> tuple[tuple[TieInPoint, ...], tuple[TieInPoint, ...]]:
    """The usable anchors that go with a piece, and those that stay."""
    standing = [p for p in points if may_hang(p) and not dies_with(graph, p, ~(gone | left))]
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
