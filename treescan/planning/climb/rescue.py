"""How does a casualty come down? A line on other wood, a way to every work point, and a clear drop to the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.loads.fall.backup import common_node
from treescan.planning.climb.independent import independent
from treescan.planning.reach.sightline import Scene, first_touch
from treescan.planning.reach.swing import limb_named
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.planning.work.work_points import inside
from treescan.trees.beside import Site
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class Corridor:
    """Lowering from one work point: clear metres below it, what stands in the way, and the ground under it. [m]"""

    label: str
    clear: float
    height: float
    blocked_by: str

    @property
    def free(self) -> bool:
        """True when a person comes down to the ground without touching wood."""
        return not self.blocked_by


@dataclass(frozen=True)
class RescuePlan:
    """Cover for the work on one tie-in point.

    work_anchor, rescue_anchor : names, "" = none found; share : part of the anchor's served work the rescuer reaches;
    two_person_margin : low side of strength over stress with two people, at least this; corridors : one per served work point;
    words : sentences.
    """

    work_anchor: str
    rescue_anchor: str
    share: float
    two_person_margin: float
    corridors: tuple[Corridor, ...]
    words: tuple[str, ...]


def two_person_margin(point: TieInPoint, judged: bool = False) -> float:
    """Low side of the margin with two people on the union, never less than this.

    Parameters
    ----------
    judged : bool       Two people are among the load cases the margin was made with: then it stands as it is.

    Notes
    -----
    Where they are not: stress = own weight's part + load's part. Doubling the load at most doubles the stress, so p5 / 2 is on the
    low side.
    """
    return point.check.check.margin.p5 / (1.0 if judged else 2.0)


def corridor(graph: WoodGraph, scene: Scene, label: str, start: Floats, own_limb: int, radius: float, push_off: float) -> Corridor:
    """The plumb way down from one work point."""
    ground = float(scene.terrain.height_at(start[:2]))
    ground = ground if np.isfinite(ground) else float(graph.xyz[0, 2])
    height = max(float(start[2]) - ground, 0.0)
    path = start - np.linspace(0.0, max(height - radius, 0.0), max(2, int(height / 0.2)))[:, None] * np.array([0.0, 0.0, 1.0])
    j, limb = first_touch(scene, path, radius, own_limb, push_off)
    if j < 0:
        return Corridor(label, height, height, "")
    return Corridor(label, float(start[2] - path[j, 2]), height, limb_named(graph, int(limb)))


def corridors(
    graph: WoodGraph, scene: Scene, work: Work, work_limb: np.ndarray, settings: PlanningSettings, site: Site | None = None
) -> tuple[Corridor, ...]:
    """The plumb way down from every work point; one that ends on a drawn building, road, water or no-stand area is not free."""
    lands = _landing(work, site or Site())
    found = [
        corridor(graph, scene, work.label[i], work.xyz[i], int(work_limb[i]), settings.corridor_radius, settings.push_off) for i in range(len(work))
    ]
    return tuple(replace(c, blocked_by=on) if on and c.free else c for c, on in zip(found, lands, strict=True))


def _landing(work: Work, site: Site) -> list[str]:
    """What each work point hangs over on the site plan, "" where nothing was drawn."""
    out = [""] * len(work)
    for rings, name in ((site.no_stand, "a no-stand area"), (site.water, "water"), (site.roads, "a road"), (site.buildings, "a drawn building")):
        for ring in rings:
            for i in np.flatnonzero(inside(ring, work.xyz[:, :2])):
                out[int(i)] = name
    return out


def _apart(graph: WoodGraph, point: TieInPoint, other: TieInPoint) -> str:
    """How the wood of two independent anchors differs."""
    rests = {point.check.configuration.rest_node, other.check.configuration.rest_node}
    if common_node(graph.parent, *sorted(int(r) for r in rests)) in rests:
        here, there = (200 * float(graph.segment_radius[p.check.configuration.rest_node]) for p in (point, other))
        return f"round the same stem, {there:.0f} cm thick there and {here:.0f} cm at {point.label}"
    return f"other wood than {point.label} {point.system}"


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
    A rescue anchor is ranked, hangs on independent wood, holds two people on the low side of the margin, and reaches most of the
    work the tie-in point serves; among equals the better ranked. A line that can be lowered from the ground (basal) needs no
    second climber and is named.
    """
    name = f"{point.label} {point.system}"
    served = point.reach.served
    mine = work.weight * served
    able = []
    for p in points:
        if p.usable and two_person_margin(p, judged) >= settings.margin_gate and independent(graph, point, p, settings.apart_on_stem):
            able.append((float(mine @ p.reach.served / max(mine.sum(), 1e-12)), -p.rank, p))
    drops = tuple(ways_down[int(i)] for i in np.flatnonzero(served))
    words = []
    if point.system == "SRS basal":
        words.append(f"{name} can be lowered from the ground if its base anchor is a releasable one and stays manned; a cut rope defeats this.")
    if able:
        share, _, best = max(able, key=lambda t: t[:2])
        label = f"{best.label} {best.system}"
        words.append(
            f"Rescue line over {label}: {_apart(graph, point, best)}, within reach of {100 * share:.0f} % of its work; keep it in, ready to climb."
        )
        margin = two_person_margin(best, judged)
    else:
        label, share, margin = "", 0.0, float("nan")
        words.append(f"No ranked anchor on other wood can carry a rescuer and a casualty for {name}: neighbour tree or platform, or do not climb.")
    blocked = sorted({c.blocked_by for c in drops if not c.free})
    if blocked:
        words.append(
            f"{sum(not c.free for c in drops)} of {len(drops)} plumb ways down are not free ({', '.join(blocked[:4])}): move the "
            "casualty sideways first."
        )
    if served.any() and not drops:
        words.append("No way down was checked.")
    return RescuePlan(name, label, share, margin, drops, tuple(words))
