"""How does a casualty come down? A line on other wood, a way to every work point, and a clear drop to the
ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.geometry import inside
from treescan.loads.fall.backup import common_node
from treescan.planning.lines.line_loads import wood_reason
from treescan.planning.reach.sightline import Scene, first_touch
from treescan.planning.reach.swing import limb_named
from treescan.planning.sets.independent import on_other_limbs, shared_governing
from treescan.planning.sets.rescue_lines import rescued_share
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.reason import Reason
from treescan.trees.beside import Site
from treescan.wood.graph import WoodGraph

STEP = 0.2
"""The way down is looked at in steps of this length. [m]"""


WHOLE = 0.995
"""A share from here on prints as all of it."""

NEARLY = 0.5
"""A rescue line that holds is taken before a doubtful one that reaches up to twice as much (project choice)."""


@dataclass(frozen=True)
class Corridor:
    """Lowering from one work point: clear metres below it, its height above the ground [m], and what stands
    in the way, None when free."""

    label: str
    clear: float
    height: float
    blocked_by: Reason | None

    @property
    def free(self) -> bool:
        """True when a person comes down to the ground without touching wood."""
        return self.blocked_by is None


@dataclass(frozen=True)
class RescuePlan:
    """Cover for the work on one tie-in point.

    work_anchor, rescue_anchor : names, None = none found; share : part of the anchor's served work the
    rescuer reaches; two_person_margin : low side of strength over stress with two people, at least this, NaN where two are held only nearer to plumb;
    independent : no limb carries both, and what would break first under either does not carry the other; corridors : one
    per served work point; reasons : what was found.
    """

    work_anchor: str
    rescue_anchor: str | None
    independent: bool
    share: float
    two_person_margin: float
    corridors: tuple[Corridor, ...]
    reasons: tuple[Reason, ...]

    @property
    def part(self) -> bool:
        """True where the rescuer gets to a part of the work only."""
        return self.share < WHOLE


def two_person_margin(point: TieInPoint, judged: bool = False) -> float:
    """Low side of the margin with two people on the union, never less than this.

    Parameters
    ----------
    judged : bool       Two people are among the load cases the margin was made with: then it stands as it is.

    Notes
    -----
    Where they are not: stress = own weight's part + load's part. Doubling the load at most doubles the
    stress, so p5 / 2 is on the low side.
    """
    return point.check.check.margin.p5 / (1.0 if judged else 2.0)


def corridor(
    graph: WoodGraph,
    scene: Scene,
    label: str,
    start: Floats,
    own_limb: int,
    settings: PlanningSettings,
    lands_on: Reason | None = None,
) -> Corridor:
    """The plumb way down from one work point; lands_on : what a person would come down on, None = plain
    ground."""
    ground = float(scene.terrain.height_at(start[:2]))
    ground = ground if np.isfinite(ground) else float(graph.xyz[0, 2])
    height, radius = max(float(start[2]) - ground, 0.0), settings.corridor_radius
    along = np.linspace(0.0, max(height - radius, 0.0), max(2, int(height / STEP)))
    path = start - along[:, None] * np.array([0.0, 0.0, 1.0])
    j, limb = first_touch(scene, path, radius, own_limb, settings.push_off)
    if j < 0:
        return Corridor(label, height, height, lands_on)
    return Corridor(label, float(start[2] - path[j, 2]), height, limb_named(graph, int(limb)))


def corridors(
    graph: WoodGraph,
    scene: Scene,
    work: Work,
    work_limb: np.ndarray,
    settings: PlanningSettings,
    site: Site | None = None,
) -> tuple[Corridor, ...]:
    """The plumb way down from every work point; one that ends on a drawn building, road, water or no-stand
    area is not free."""
    lands = _landing(work, site or Site())
    return tuple(
        corridor(graph, scene, work.label[i], work.xyz[i], int(work_limb[i]), settings, lands[i])
        for i in range(len(work))
    )


def _landing(work: Work, site: Site) -> list[Reason | None]:
    """What each work point hangs over on the site plan, None where nothing was drawn."""
    out: list[Reason | None] = [None] * len(work)
    codes = {
        "no_stand_area": "over_no_stand",
        "water": "over_water",
        "road": "over_road",
        "building": "over_building",
    }
    for area in site.areas():
        for i in np.flatnonzero(inside(area.ring, work.xyz[:, :2])):
            out[int(i)] = Reason(codes[area.kind], name=area.name or None)
    return out


def _apart(graph: WoodGraph, point: TieInPoint, other: TieInPoint) -> Reason:
    """How the wood of two independent anchors differs."""
    rests = {point.check.configuration.rest_node, other.check.configuration.rest_node}
    if common_node(graph.parent, *sorted(int(r) for r in rests)) in rests:
        here, there = (
            2 * float(graph.segment_radius[p.check.configuration.rest_node]) for p in (point, other)
        )
        return Reason("rescue_same_stem", there=there, here=here, union=point.label)
    return Reason("rescue_other_wood", anchor=point.name)


def rescue_plan(
    graph: WoodGraph,
    point: TieInPoint,
    points: Sequence[TieInPoint],
    work: Work,
    ways_down: Sequence[Corridor],
    settings: PlanningSettings,
    judged: bool = False,
) -> RescuePlan:
    """The best line for the rescuer of a climber on one tie-in point.

    Parameters
    ----------
    ways_down : one `Corridor` per work point, from `corridors`.
    judged : bool       See `two_person_margin`.

    Notes
    -----
    A rescue anchor is ranked, hangs on other limbs, holds two people on the low side of the margin, and
    reaches some of the work the tie-in point serves, no farther from plumb than it holds two. Independent ones come first: those whose governing wood does
    not carry the tie-in point, nor its governing wood them. Of these that reach at least half as much of the work
    as the one that reaches most, those that hold come before doubtful ones; then the one that reaches most; among
    equals the better ranked. A line that can be lowered from the ground (basal) needs no second climber and is named.
    """
    served = point.reach.served
    able = []
    for p in points:
        if (
            p.usable
            and not p.check.one_climber_only
            and two_person_margin(p, judged) >= settings.margin_gate
            and on_other_limbs(graph, point, p, settings.apart_on_stem)
        ):
            share = rescued_share(point, p, work.weight)
            if share > 0:
                able.append((shared_governing(graph, point, p) is None, share, -p.rank, p))
    apart = [line for line in able if line[0]] or able
    most = max((share for _, share, _, _ in apart), default=0.0)
    drops = tuple(ways_down[int(i)] for i in np.flatnonzero(served))
    lowered = (Reason("rescue_lowered", anchor=point.name),) if point.system == "SRS basal" else ()
    down = _down_reasons(drops)
    if not able:
        reasons = (*lowered, Reason("rescue_none", anchor=point.name), *down)
        return RescuePlan(point.name, None, False, 0.0, float("nan"), drops, reasons)
    alone, share, _, best = max(apart, key=lambda t: (t[1] >= NEARLY * most and t[3].holds, *t[1:3]))
    line = Reason("rescue_line", anchor=best.name, where=_apart(graph, point, best), share=share, part=share < WHOLE)
    shared = () if alone else (_shares(graph, point, best),)
    all_the_way = best.check.two_people_within >= best.check.within - 1e-6  # else its margin is that of one climber
    two = two_person_margin(best, judged) if all_the_way else float("nan")
    return RescuePlan(point.name, best.name, alone, share, two, drops, (*lowered, line, *shared, *down))


def _shares(graph: WoodGraph, point: TieInPoint, other: TieInPoint) -> Reason:
    """The wood that would break first under one of two lines and carries both."""
    node = shared_governing(graph, point, other)
    wood = wood_reason(graph, 0 if node is None else node)
    return Reason("rescue_shares_wood", anchor=point.name, wood=wood)


def _down_reasons(drops: Sequence[Corridor]) -> tuple[Reason, ...]:
    """What stands below the served work, each thing once."""
    by = tuple(dict.fromkeys(c.blocked_by for c in drops if c.blocked_by is not None))
    return (
        (Reason("rescue_blocked", blocked=sum(not c.free for c in drops), n=len(drops), by=by),) if by else ()
    )
